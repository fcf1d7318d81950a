#pragma once
#include <CLI/CLI.hpp>

#include <string>
#include <vector>

/// Writes the manual pages and the shells' completion at build time, from the options as the commands define them.
namespace hushtrace::cli {

struct DescribedOption {
    std::string name;                ///< "--hookup", or "KIND" for what stands without a name
    std::string type;                ///< "TEXT", "FILE"; empty for a switch
    std::string help, heading;       ///< heading: as --help groups it
    std::string usual;               ///< what it is where it isn't given; empty where the help says it or there is nothing
    std::vector<std::string> words;  ///< what it is known to take
    bool named = true, takes_value = false, value_may_lack = false, required = false, again = false;
    bool list = false;               ///< values with commas between
};
struct DescribedCommand {
    std::string name, help;
    std::vector<DescribedOption> options;   ///< in the order of --help
};
/// The whole program: its own options under an empty name, then every command.
std::vector<DescribedCommand> described();

}  // namespace hushtrace::cli
