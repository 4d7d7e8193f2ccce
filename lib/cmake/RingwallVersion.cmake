# SPDX-License-Identifier: Apache-2.0
# What the results state about the program that made them: version, revision, libraries.
execute_process(COMMAND git describe --always --dirty WORKING_DIRECTORY ${CMAKE_CURRENT_SOURCE_DIR}
                OUTPUT_VARIABLE ringwall_revision OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET)
if(NOT ringwall_revision)
  set(ringwall_revision unknown)
endif()

set(ringwall_opencv_version unknown)
file(STRINGS ${RINGWALL_OPENCV_INCLUDE}/opencv2/core/version.hpp ringwall_lines
     REGEX "#define CV_VERSION_(MAJOR|MINOR|REVISION) ")
string(REGEX MATCHALL "[0-9]+" ringwall_numbers "${ringwall_lines}")
list(JOIN ringwall_numbers "." ringwall_opencv_version)

set(ringwall_libraries "libtiff=${TIFF_VERSION_STRING},libpng=${PNG_VERSION_STRING},libjpeg=${JPEG_VERSION}")
string(APPEND ringwall_libraries ",DCMTK=${DCMTK_VERSION},ITK=${ITK_VERSION},OpenCV=${ringwall_opencv_version}")
string(APPEND ringwall_libraries ",Eigen=${Eigen3_VERSION},xraylib=${XRAYLIB_VERSION},cairo=${CAIRO_VERSION}")
set_source_files_properties(src/core/version.cpp PROPERTIES COMPILE_DEFINITIONS
  "RINGWALL_VERSION=\"${PROJECT_VERSION}\";RINGWALL_REVISION=\"${ringwall_revision}\";RINGWALL_LIBRARIES=\"${ringwall_libraries}\"")
