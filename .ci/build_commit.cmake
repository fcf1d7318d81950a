# cmake -DSOURCE=... -DHEADER=... -P: writes which commit the sources stand at, where it is not written yet.
set(ENV{GIT_OPTIONAL_LOCKS} 0)
set(commit "")
find_package(Git QUIET)
if(GIT_FOUND AND EXISTS ${SOURCE}/.git)
  execute_process(COMMAND ${GIT_EXECUTABLE} -C ${SOURCE} describe --always --exclude=* --dirty --abbrev=10
                  OUTPUT_VARIABLE commit OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET)
endif()
if(commit STREQUAL "")
  set(commit "an unknown commit")
else()
  set(commit "commit ${commit}")
endif()
file(CONFIGURE OUTPUT ${HEADER} CONTENT "#pragma once\n#define HUSHTRACE_COMMIT \"${commit}\"\n")
