# SPDX-License-Identifier: Apache-2.0
# Every outside library, under one name each, as SYSTEM so that their headers do not warn in our builds.
find_package(Threads REQUIRED)
find_package(TIFF REQUIRED)
find_package(PNG REQUIRED)
find_package(JPEG REQUIRED)
find_package(OpenSSL REQUIRED COMPONENTS Crypto)
find_package(Eigen3 CONFIG REQUIRED)
find_package(nlohmann_json CONFIG REQUIRED)
find_package(CLI11 CONFIG REQUIRED)
find_package(DCMTK CONFIG REQUIRED)
find_package(PkgConfig REQUIRED)
pkg_check_modules(XRAYLIB REQUIRED IMPORTED_TARGET libxrl)
pkg_check_modules(CAIRO REQUIRED IMPORTED_TARGET cairo)

# ITK's package file pulls in GDCM's, which complains at length about tools that Debian packages apart.
set(ringwall_log_level ${CMAKE_MESSAGE_LOG_LEVEL})
set(CMAKE_MESSAGE_LOG_LEVEL ERROR)
find_package(ITK 5.2 REQUIRED COMPONENTS ITKCommon ITKIOMeta ITKIONRRD)
set(CMAKE_MESSAGE_LOG_LEVEL ${ringwall_log_level})

# OpenCV's own CMake file lies in the all-modules package (570 MB more): take it when it is there, else the two libraries.
find_path(RINGWALL_OPENCV_INCLUDE opencv2/core.hpp PATH_SUFFIXES opencv4 REQUIRED)
find_library(RINGWALL_OPENCV_CORE opencv_core REQUIRED)
find_library(RINGWALL_OPENCV_IMGPROC opencv_imgproc REQUIRED)
find_path(RINGWALL_STB_INCLUDE stb/stb_image.h REQUIRED)
find_path(RINGWALL_TOML_INCLUDE toml++/toml.h REQUIRED)

function(ringwall_outside name)
  cmake_parse_arguments(OUT "" "" "INCLUDES;LIBRARIES" ${ARGN})
  add_library(ringwall_outside_${name} INTERFACE)
  add_library(ringwall::${name} ALIAS ringwall_outside_${name})
  target_include_directories(ringwall_outside_${name} SYSTEM INTERFACE ${OUT_INCLUDES})
  target_link_libraries(ringwall_outside_${name} INTERFACE ${OUT_LIBRARIES})
endfunction()

ringwall_outside(opencv INCLUDES ${RINGWALL_OPENCV_INCLUDE} LIBRARIES ${RINGWALL_OPENCV_IMGPROC} ${RINGWALL_OPENCV_CORE})
ringwall_outside(xraylib LIBRARIES PkgConfig::XRAYLIB)
ringwall_outside(cairo LIBRARIES PkgConfig::CAIRO)
ringwall_outside(stb INCLUDES ${RINGWALL_STB_INCLUDE})
ringwall_outside(tomlplusplus INCLUDES ${RINGWALL_TOML_INCLUDE})
ringwall_outside(dcmtk INCLUDES ${DCMTK_INCLUDE_DIRS} LIBRARIES DCMTK::dcmdata DCMTK::ofstd DCMTK::oflog DCMTK::dcmimgle)
ringwall_outside(itk INCLUDES ${ITK_INCLUDE_DIRS} LIBRARIES ${ITK_LIBRARIES})
