#pragma once
#include <string>
#include <vector>

#include "command.hpp"

namespace hushtrace::cli {

/// One line a job as JSON Lines on stdout, for folders that are jobs or hold them.
///   throws Error file_unreadable for a folder that is none or holds no job, before anything is printed; invalid_input, after
///   the lines, when no job at all could be read
void print_index(const std::vector<std::string>& folders);

}  // namespace hushtrace::cli
