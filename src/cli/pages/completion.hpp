#pragma once
#include <string>
#include <vector>

#include "described.hpp"

namespace hushtrace::cli {

/// Commands, options, words that an option takes (also behind commas), files, folders, the job's takes, simulated vehicles.
std::string bash_completion(const std::vector<DescribedCommand>& commands);
std::string zsh_completion(const std::vector<DescribedCommand>& commands);

}  // namespace hushtrace::cli
