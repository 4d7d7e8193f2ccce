# SPDX-License-Identifier: Apache-2.0
# cmake -DBUILD= -DSOURCE= -DPLACE= -P run.cmake
function(run)
  execute_process(COMMAND ${ARGN} COMMAND_ERROR_IS_FATAL ANY)
endfunction()
file(REMOVE_RECURSE ${PLACE}/installed ${PLACE}/built)
run(${CMAKE_COMMAND} --install ${BUILD} --prefix ${PLACE}/installed)
run(${CMAKE_COMMAND} -S ${SOURCE} -B ${PLACE}/built -G Ninja -DCMAKE_BUILD_TYPE=Release -DCMAKE_PREFIX_PATH=${PLACE}/installed
    --log-level=WARNING)
run(${CMAKE_COMMAND} --build ${PLACE}/built)
run(${PLACE}/built/consumer)
