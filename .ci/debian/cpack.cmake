# What Debian wants beside the files: copyright and changelog of each package, and what its control file says.
# A program that compiles in a library of headers carries that one's licence: as Debian's package states it.
file(READ ${CMAKE_CURRENT_LIST_DIR}/copyright copyright)
foreach(package libcli11-dev libkissfft-dev nlohmann-json3-dev libcpp-httplib-dev libfmt-dev)
  if(EXISTS /usr/share/doc/${package}/copyright)
    file(READ /usr/share/doc/${package}/copyright theirs)
    string(APPEND copyright "\n---- ${package} ----\n\n${theirs}")
  endif()
endforeach()
file(WRITE ${CMAKE_BINARY_DIR}/copyright "${copyright}")
execute_process(COMMAND ${HUSHTRACE_GZIP} -9nc ${CMAKE_CURRENT_LIST_DIR}/changelog
                OUTPUT_FILE ${CMAKE_BINARY_DIR}/changelog.Debian.gz COMMAND_ERROR_IS_FATAL ANY)
set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${CMAKE_CURRENT_LIST_DIR}/changelog ${CMAKE_CURRENT_LIST_DIR}/copyright)
function(hushtrace_package_files name component)
  install(FILES ${CMAKE_BINARY_DIR}/copyright ${CMAKE_BINARY_DIR}/changelog.Debian.gz
          DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/${name} COMPONENT ${component})
  install(FILES ${CMAKE_CURRENT_FUNCTION_LIST_DIR}/${name}.lintian-overrides DESTINATION ${CMAKE_INSTALL_DATADIR}/lintian/overrides
          RENAME ${name} COMPONENT ${component})
endfunction()
hushtrace_package_files(hushtrace program)
hushtrace_package_files(libhushtrace-dev development)

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME hushtrace)
set(CPACK_PACKAGE_VERSION ${PROJECT_VERSION})
set(CPACK_PACKAGE_CONTACT "Hushtrace maintainers <maintainers@hushtrace.invalid>")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_COMPONENTS_ALL program development)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)

set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_RELEASE 1)
set(CPACK_DEBIAN_COMPRESSION_TYPE xz)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)

set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME hushtrace)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SECTION sound)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PROGRAM_DESCRIPTION "noise and gain of amplifiers in vehicles, measured
With a laptop and an audio interface, hushtrace plays tones through a
vehicle's head unit, captures what arrives at the amplifier's input, and
says how loud the source may go, where the amplifier's gain must stand,
what the noise is, where it gets in and what to do next. It keeps the takes
and writes a record.
.
A simulated vehicle is part of it: 'hushtrace demo' does a whole job without
any device.")

set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_NAME libhushtrace-dev)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SECTION libdevel)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_DEPENDS "libsndfile1-dev, libfmt-dev, pkg-config")
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_RECOMMENDS "cmake")
set(CPACK_DEBIAN_DEVELOPMENT_DESCRIPTION "analysis of hushtrace as a library: static, with headers
Takes and test tones, spectra, measurements, what is known of vehicles, job
folders, and the search for noise sources and gains: the layers that the
program hushtrace stands on, as static libraries with C++20 headers and a
CMake package (find_package(Hushtrace)).")
include(CPack)
