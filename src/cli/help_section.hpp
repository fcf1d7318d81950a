#pragma once
#include <CLI/CLI.hpp>

namespace hushtrace::cli {

/// While it lives, options added to `app` stand under a heading of their own in --help.
class HelpSection {
public:
    HelpSection(CLI::App& app, const char* heading) : app_(app), before_(app.option_defaults()->get_group()) {
        app_.option_defaults()->group(heading);
    }
    // NOLINTNEXTLINE(bugprone-exception-escape): a heading that was taken before is taken again
    ~HelpSection() { app_.option_defaults()->group(before_); }
    HelpSection(const HelpSection&) = delete;
    HelpSection& operator=(const HelpSection&) = delete;

private:
    CLI::App& app_;
    std::string before_;
};

}  // namespace hushtrace::cli
