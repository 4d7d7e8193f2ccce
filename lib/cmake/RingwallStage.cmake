# SPDX-License-Identifier: Apache-2.0
# One stage = one folder of lib/src = one OBJECT target. The order of the calls in lib/CMakeLists.txt is the
# order of the data flow; tests/layering checks that no source includes a later stage.

add_library(ringwall_flags INTERFACE)
# Contraction off: a fused multiply-add would make the last bit depend on the machine and the build.
target_compile_options(ringwall_flags INTERFACE -ffp-contract=off -Wall -Wextra -Wpedantic -Wshadow
                                                -Wnon-virtual-dtor -Woverloaded-virtual
                                                # nobody reads errno after a root, nor traps: without, roots and choices in loops
                                                # become vectors, of the same bits
                                                -fno-math-errno -fno-trapping-math
                                                # g++ 12 sees an overlap in "text" + std::string (GCC bug 105651)
                                                -Wno-restrict)
if(RINGWALL_STRICT)
  target_compile_options(ringwall_flags INTERFACE -Werror)
endif()
if(RINGWALL_SANITIZE)
  target_compile_options(ringwall_flags INTERFACE -fsanitize=${RINGWALL_SANITIZE} -fno-omit-frame-pointer
                                                  -fno-sanitize-recover=all)
  target_link_options(ringwall_flags INTERFACE -fsanitize=${RINGWALL_SANITIZE})
endif()

# ringwall_stage(NAME [LIBRARIES ...]): compiles lib/src/NAME/*.cpp, with libraries that only this stage sees.
function(ringwall_stage name)
  cmake_parse_arguments(STAGE "" "" "LIBRARIES" ${ARGN})
  file(GLOB sources CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/src/${name}/*.cpp)
  if(NOT sources)
    return()
  endif()
  add_library(ringwall_${name} OBJECT ${sources})
  target_include_directories(ringwall_${name} PRIVATE include src)
  target_link_libraries(ringwall_${name} PRIVATE ringwall_flags ${STAGE_LIBRARIES})
  set_target_properties(ringwall_${name} PROPERTIES POSITION_INDEPENDENT_CODE ON)
  target_sources(ringwall PRIVATE $<TARGET_OBJECTS:ringwall_${name}>)
  target_link_libraries(ringwall PRIVATE ${STAGE_LIBRARIES})
  set_property(GLOBAL APPEND PROPERTY RINGWALL_LIBRARIES_USED ${STAGE_LIBRARIES}) # what an installed ringwall must be linked with
endfunction()

# The report's page as it stands in page.html and table.html, inside the program: one file is all that is installed.
function(ringwall_report_template)
  set(folder ${CMAKE_CURRENT_SOURCE_DIR}/src/report)
  set(made ${CMAKE_CURRENT_BINARY_DIR}/page_template.cpp)
  set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${folder}/page.html ${folder}/table.html)
  file(READ ${folder}/page.html ringwall_page_html)
  file(READ ${folder}/table.html ringwall_table_html)
  configure_file(${folder}/page_template.cpp.in ${made} @ONLY)
  target_sources(ringwall_report PRIVATE ${made})
endfunction()
