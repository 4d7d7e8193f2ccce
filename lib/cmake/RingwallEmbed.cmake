# SPDX-License-Identifier: Apache-2.0
# ringwall_embed(STAGE NAME FILE): compiles FILE's text into a stage as `extern const char* const NAME`, so that the
# library needs no folder of its own at run time. The text must not hold the end mark of a raw string, )RINGWALL".
function(ringwall_embed stage name file)
  set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${file})
  file(READ ${file} text)
  set(made ${CMAKE_CURRENT_BINARY_DIR}/embedded/${stage}_${name}.cpp)
  # One raw string may hold 64 KB at most by the standard's advice; longer texts are cut into several.
  string(LENGTH "${text}" length)
  set(literal "")
  set(from 0)
  while(from LESS length)
    string(SUBSTRING "${text}" ${from} 8000 piece)
    string(APPEND literal "R\"RINGWALL(${piece})RINGWALL\"\n")
    math(EXPR from "${from} + 8000")
  endwhile()
  file(CONFIGURE OUTPUT ${made} CONTENT "namespace ringwall {\nextern const char* const ${name};\nconst char* const ${name} =\n${literal};\n} // namespace ringwall\n" @ONLY NEWLINE_STYLE UNIX)
  target_sources(ringwall_${stage} PRIVATE ${made})
endfunction()
