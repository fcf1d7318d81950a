#pragma once
#include <string_view>

namespace hushtrace::cli {

/// Writes to standard output, in full.
///   throws Error disk_failed when it can't be written, as to a full disk or a closed pipe
void print_result(std::string_view text);

}  // namespace hushtrace::cli
