#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cstdio>
#include <exception>
#include <string>
#include <string_view>
#include <vector>

#include "build_facts.hpp"
#include "command.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/signal/error.hpp"

namespace {

int exit_code_of(hushtrace::ErrorKind kind) {
    using enum hushtrace::ErrorKind;
    return kind == device_failed || kind == disk_failed ? 3 : 2;
}

/// Whatever a file's name or an option held, a message stays on one line and steers no terminal.
void complain(std::string_view text) {
    fmt::print(stderr, "hushtrace: {}\n", hushtrace::clean_text(text));
}

/// "no such command" is what is wrong with a first word that is no command's name.
std::string reason(const CLI::App& app, const CLI::ParseError& wrong, int argc, const char* const* argv) {
    std::vector<std::string> names;
    for (const CLI::App* command : app.get_subcommands({})) names.push_back(command->get_name());
    const std::string all = fmt::format("{}", fmt::join(names, ", "));
    if (argc < 2) return fmt::format("a command is wanted: {}", all);
    const std::string first = argv[1];
    if (first.starts_with('-') || std::find(names.begin(), names.end(), first) != names.end()) return wrong.what();
    return fmt::format("'{}' is no command; there are {}", first, all);
}

}  // namespace

namespace hushtrace::cli {

void add_commands(CLI::App& app, Context& context) {
    app.description("Hushtrace finds the noise in a vehicle's sound system, and where its gain must stand.");
    app.set_version_flag("--version", build_text());
    app.require_subcommand(1);
    // commands register here, in the order in which a job uses them
    add_devices_command(app, context);
    add_tones_command(app, context);
    add_job_command(app, context);
    add_calibrate_command(app, context);
    add_capture_command(app, context);
    add_noise_command(app, context);
    add_gain_command(app, context);
    add_chain_command(app, context);
    add_power_command(app, context);
    add_report_command(app, context);
    add_live_command(app, context);
    add_demo_command(app, context);
}

int run_program(int argc, const char* const* argv) {
    CLI::App app;
    Context context;
    add_commands(app, context);
    try {
        app.parse(argc, argv);
    } catch (const CLI::Success& success) {  // --help, --version
        return app.exit(success);
    } catch (const CLI::ParseError& wrong) {
        complain(reason(app, wrong, argc, argv));
        return 2;
    } catch (const Error& error) {
        complain(error.what());
        return exit_code_of(error.kind());
    } catch (const std::exception& error) {
        complain(error.what());
        return 2;
    }
    return context.exit_code;
}

}  // namespace hushtrace::cli
