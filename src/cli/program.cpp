#include <fmt/format.h>

#include <cstdio>
#include <exception>
#include <string>

#include "command.hpp"
#include "hushtrace/signal/error.hpp"

namespace {

int exit_code_of(hushtrace::ErrorKind kind) {
    using enum hushtrace::ErrorKind;
    return kind == device_failed || kind == disk_failed ? 3 : 2;
}

/// Whatever a file's name or an option held, a message stays on one line.
void complain(std::string text) {
    for (char& c : text)
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = ' ';
    fmt::print(stderr, "hushtrace: {}\n", text);
}

}  // namespace

namespace hushtrace::cli {

int run_program(int argc, const char* const* argv) {
    CLI::App app{"Hushtrace finds the noise in a vehicle's sound system, and where its gain must stand."};
    app.set_version_flag("--version", "hushtrace " HUSHTRACE_VERSION);
    app.require_subcommand(1);
    Context context;
    // commands register here, in the order in which a job uses them
    add_devices_command(app, context);
    add_tones_command(app, context);
    add_job_command(app, context);
    add_calibrate_command(app, context);
    add_capture_command(app, context);
    add_noise_command(app, context);
    add_gain_command(app, context);
    add_report_command(app, context);
    add_demo_command(app, context);
    try {
        app.parse(argc, argv);
    } catch (const CLI::Success& success) {  // --help, --version
        return app.exit(success);
    } catch (const CLI::ParseError& wrong) {
        complain(wrong.what());
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
