#pragma once
#include <string>

namespace hushtrace::cli {

/// What --version prints: the version on a line of its own, then what this program was built from, with and for.
std::string build_text();

}  // namespace hushtrace::cli
