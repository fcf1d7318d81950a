#include "build_facts.hpp"

#include "build_commit.hpp"  // written by the build: .ci/build_commit.cmake

namespace hushtrace::cli {

std::string build_text() {
    return "hushtrace " HUSHTRACE_VERSION "\n"
           "built from " HUSHTRACE_COMMIT " by " HUSHTRACE_COMPILER " for " HUSHTRACE_SYSTEM "\n"
           "with " HUSHTRACE_LIBRARIES;
}

}  // namespace hushtrace::cli
