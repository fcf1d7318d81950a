#pragma once
#include <CLI/CLI.hpp>

/// One file a command. Each adds its subcommand to the program and sets what runs when it is chosen;
/// run_program() turns an Error into one line on stderr and the exit code.
namespace hushtrace::cli {

/// What run_program() hands to every command, and takes back from it.
struct Context {
    int exit_code = 0;  ///< 0 done, 1 something measured fails a limit written in job.json
};

/// One command line, from its words to its exit code; faults are said in one line on stderr.
int run_program(int argc, const char* const* argv);

/// All commands, as --help lists them.
void add_commands(CLI::App& app, Context& context);

void add_devices_command(CLI::App& app, Context& context);
void add_tones_command(CLI::App& app, Context& context);
void add_job_command(CLI::App& app, Context& context);
void add_calibrate_command(CLI::App& app, Context& context);
void add_capture_command(CLI::App& app, Context& context);
void add_noise_command(CLI::App& app, Context& context);
void add_gain_command(CLI::App& app, Context& context);
void add_chain_command(CLI::App& app, Context& context);
void add_power_command(CLI::App& app, Context& context);
void add_report_command(CLI::App& app, Context& context);
void add_live_command(CLI::App& app, Context& context);
void add_demo_command(CLI::App& app, Context& context);

}  // namespace hushtrace::cli
