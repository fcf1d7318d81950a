# The test programs for Windows, run under Wine by .ci/windows/try. Left out: what needs processes that are forked or killed, signals, a
# terminal or a program of another system to judge.
find_path(CATCH_INCLUDE_DIR catch2/catch.hpp REQUIRED)
set(left_out ${CMAKE_CURRENT_SOURCE_DIR}/job/test_crash_safety.cpp)
message(STATUS "left out on Windows: ${left_out}")

set(CMAKE_CXX_FLAGS_RELEASE "-O0")      # what takes time stands in the layers
add_library(catch_main OBJECT catch_main.cpp)
target_include_directories(catch_main SYSTEM PUBLIC ${CATCH_INCLUDE_DIR})
foreach(layer signal spectrum measure vehicle simulation job audio diagnose report live)
  file(GLOB sources CONFIGURE_DEPENDS ${layer}/*.cpp ${layer}/windows/*.cpp)
  append_parts(sources ${CMAKE_CURRENT_SOURCE_DIR}/${layer} ${${layer}_parts})
  list(REMOVE_ITEM sources ${left_out})
  add_executable(test_${layer} ${sources})
  target_link_libraries(test_${layer} PRIVATE catch_main ${layer} nlohmann_json::nlohmann_json fmt::fmt hushtrace_flags)
  target_include_directories(test_${layer} PRIVATE ${CMAKE_CURRENT_SOURCE_DIR})
  target_link_options(test_${layer} PRIVATE -Wl,--stack,8388608)   # as the program has
  # the place of the sources as Wine sees it: its drive Z is the system's root
  target_compile_definitions(test_${layer} PRIVATE HUSHTRACE_SOURCE_DIR="Z:${PROJECT_SOURCE_DIR}"
                             HUSHTRACE_REFERENCE_DIR="Z:${CMAKE_CURRENT_SOURCE_DIR}/reference")
  if(HUSHTRACE_PRECOMPILE AND layer STREQUAL "signal")
    target_precompile_headers(test_signal PRIVATE ${standard_headers} <catch2/catch.hpp>)
  elseif(HUSHTRACE_PRECOMPILE)
    target_precompile_headers(test_${layer} REUSE_FROM test_signal)
  endif()
endforeach()
target_link_libraries(test_signal PRIVATE PkgConfig::SNDFILE)
target_link_libraries(test_job PRIVATE shell32)
