#pragma once
#include <cstdio>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

#include <CLI/CLI.hpp>

#include "hushtrace/job/job.hpp"

namespace hushtrace::cli {

/// The check before the first lead goes on, settled by options, by a meter that the program can read (the
/// simulated vehicle's), or by asking the person at the terminal.
struct GroundOptions {
    std::optional<std::string> shell_volts, ground_drop, declined;
    bool meter = false;

    /// --shell-volts --ground-drop --decline-ground-check --meter
    void add_to(CLI::App& app);
    /// throws Error invalid_request for readings that are no volts
    void check() const;
};

/// The meter's volts for one of the two readings (live/precautions.hpp).
using Meter = std::function<double(std::string_view reading)>;

/// Settles the check for a take in these conditions: readings given, read or typed are entered in the job as
/// observations, also bad ones. Does nothing for a job in which it is settled already and no reading is
/// given.
///   `meter`   read where options.meter says so; may be empty
///   `asks`    where to put the questions, null to ask nothing
///   throws Error invalid_request: a reading above the limit, in either polarity (stop, mend, connect
///   nothing); a reading neither given nor declined where nobody can be asked
void settle_ground_check(const std::filesystem::path& job_folder, const Conditions& conditions,
                         const GroundOptions& options, const Meter& meter, std::FILE* asks);

}  // namespace hushtrace::cli
