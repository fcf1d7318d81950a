#pragma once
#include <string>
#include <vector>

#include "described.hpp"

namespace hushtrace::cli {

/// hushtrace(1), in the man macros: what the program is for, its commands, exit codes, environment, files.
std::string program_manual(const std::vector<DescribedCommand>& commands);
/// hushtrace-NAME(1): one command, its options under their headings, examples.
///   throws std::runtime_error where no examples are written for it, or one holds an option that the command lacks
std::string command_manual(const DescribedCommand& command);

}  // namespace hushtrace::cli
