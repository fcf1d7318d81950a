#pragma once
#include <CLI/CLI.hpp>

/// One file a command. Each adds its subcommand to the program and sets what runs when it is chosen; main() turns an
/// Error into one line on stderr and the exit code.
namespace hushtrace::cli {

/// What main() hands to every command, and takes back from it.
struct Context {
    int exit_code = 0;   ///< 0 done, 1 something measured fails a limit written in job.json
};

void add_devices_command(CLI::App& app, Context& context);

}  // namespace hushtrace::cli
