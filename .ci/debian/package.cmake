# What is installed, and the Debian packages that CPack makes of it: hushtrace, and libhushtrace-dev for those who build
# on the layers from signal to diagnose. .ci/package runs the whole of it.

# ---- the program ----
install(TARGETS hushtrace RUNTIME COMPONENT program)
install(DIRECTORY signals DESTINATION ${CMAKE_INSTALL_DATADIR}/hushtrace COMPONENT program PATTERN README.md EXCLUDE)
# as they lie here, so that the pages' links to each other hold
install(FILES README.md DEVELOPERS.md DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)
install(DIRECTORY docs DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)
install(DIRECTORY signals DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program FILES_MATCHING PATTERN README.md)
if(CMAKE_CROSSCOMPILING)
  return()
endif()

# ---- manual pages and completion, written by a program from the options as the commands define them ----
find_program(HUSHTRACE_GZIP gzip REQUIRED)
file(GLOB page_sources CONFIGURE_DEPENDS src/cli/pages/*.cpp)
add_executable(write_pages ${page_sources})
target_link_libraries(write_pages PRIVATE cli)
set(pages ${CMAKE_BINARY_DIR}/pages)
add_custom_command(OUTPUT ${pages}/written VERBATIM DEPENDS write_pages
                   COMMAND ${CMAKE_COMMAND} -E rm -rf ${pages}
                   COMMAND write_pages ${pages}
                   COMMAND ${CMAKE_COMMAND} -E copy_directory ${pages}/man ${pages}/man1
                   COMMAND ${HUSHTRACE_GZIP} -9nr ${pages}/man1
                   COMMAND ${CMAKE_COMMAND} -E touch ${pages}/written)
add_custom_target(pages ALL DEPENDS ${pages}/written)
install(DIRECTORY ${pages}/man1 DESTINATION ${CMAKE_INSTALL_MANDIR} COMPONENT program)
install(FILES ${pages}/hushtrace DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions COMPONENT program)
install(FILES ${pages}/_hushtrace DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions COMPONENT program)

# ---- the layers as a library ----
include(CMakePackageConfigHelpers)
set(library_layers signal spectrum measure vehicle job diagnose)
set(config_folder ${CMAKE_INSTALL_LIBDIR}/cmake/Hushtrace)
install(TARGETS ${library_layers} EXPORT HushtraceTargets ARCHIVE COMPONENT development)
foreach(layer ${library_layers})
  install(DIRECTORY include/hushtrace/${layer} DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/hushtrace COMPONENT development)
endforeach()
install(EXPORT HushtraceTargets NAMESPACE hushtrace:: DESTINATION ${config_folder} COMPONENT development)
configure_package_config_file(${CMAKE_CURRENT_LIST_DIR}/HushtraceConfig.cmake.in ${CMAKE_BINARY_DIR}/HushtraceConfig.cmake
                              INSTALL_DESTINATION ${config_folder})
write_basic_package_version_file(${CMAKE_BINARY_DIR}/HushtraceConfigVersion.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${CMAKE_BINARY_DIR}/HushtraceConfig.cmake ${CMAKE_BINARY_DIR}/HushtraceConfigVersion.cmake
        DESTINATION ${config_folder} COMPONENT development)
install(DIRECTORY docs/example-library DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/libhushtrace-dev/examples COMPONENT development)

if(CMAKE_SYSTEM_NAME STREQUAL "Linux")
  include(${CMAKE_CURRENT_LIST_DIR}/cpack.cmake)
endif()
