# SPDX-License-Identifier: Apache-2.0
# cmake --install BUILD --prefix PLACE: the program, the library, its headers, and a package file by which another CMake
# project finds it: find_package(ringwall) gives the target ringwall::ringwall (tests/consumer does just that).
include(GNUInstallDirs)
include(CMakePackageConfigHelpers)

get_property(ringwall_libraries GLOBAL PROPERTY RINGWALL_LIBRARIES_USED)
list(REMOVE_DUPLICATES ringwall_libraries)
set(ringwall_package ${CMAKE_INSTALL_LIBDIR}/cmake/ringwall)
configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/ringwallConfig.cmake.in ${CMAKE_CURRENT_BINARY_DIR}/ringwallConfig.cmake
                              INSTALL_DESTINATION ${ringwall_package} PATH_VARS CMAKE_INSTALL_LIBDIR CMAKE_INSTALL_INCLUDEDIR)
write_basic_package_version_file(${CMAKE_CURRENT_BINARY_DIR}/ringwallConfigVersion.cmake COMPATIBILITY SameMinorVersion)

install(TARGETS ringwall ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR})
if(TARGET ringwall_cli)
  install(TARGETS ringwall_cli RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
endif()
install(DIRECTORY include/ringwall DESTINATION ${CMAKE_INSTALL_INCLUDEDIR})
install(FILES ${CMAKE_CURRENT_BINARY_DIR}/ringwallConfig.cmake ${CMAKE_CURRENT_BINARY_DIR}/ringwallConfigVersion.cmake
              ${CMAKE_CURRENT_LIST_DIR}/RingwallLibraries.cmake DESTINATION ${ringwall_package})
