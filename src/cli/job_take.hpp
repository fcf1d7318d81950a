#pragma once
#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "conditions_options.hpp"
#include "hushtrace/job/job_folder.hpp"

namespace hushtrace::cli {

/// What a sound file held, all of it read.
struct SoundFacts {
    double sample_rate_hz = 0;
    std::size_t channels = 0;
    std::uint64_t frames = 0;
    std::string oddity;             ///< "cut short: 4.2 s of 10.0 s", or empty
    std::vector<TakeFault> faults;  ///< found in the data, and "stopped" for one that is cut short
    std::vector<std::string> said;  ///< the same in words, in order of time
    double duration_s() const { return static_cast<double>(frames) / sample_rate_hz; }
};

/// Reads a sound file to its end, and looks for what went wrong while it was captured (CaptureFaultFinder);
/// `tone` is what was playing.
///   throws Error file_unreadable, not_finite as TakeReader; too_short below 0.2 s
SoundFacts read_through(const std::filesystem::path& file, const std::optional<PlayedTone>& tone);

/// Options that only a take has.
struct TakeOptions {
    std::optional<std::string> add, of_take, name, rpm_log, recorded_at, after_change;
    std::vector<std::string> volume_steps, marks;

    void add_to(CLI::App& app);
};

/// Brings an existing sound file into the job: read through, copied whole into takes/ (unless it lies in the
/// job's folder already), entered into job.json. Fails without a trace.
struct AddedTake {
    OpenedJob opened;
    Take take;
    SoundFacts sound;
};
AddedTake add_existing_take(const std::filesystem::path& folder, const TakeOptions& options,
                            const ConditionsOptions& conditions, const ChannelOptions& channels,
                            const ToneOptions& tone);

/// Gives a take of the job (its file, or the name of that) the engine speed log `options.rpm_log`, copied into takes/
/// unless it lies in the folder already.
///   throws Error invalid_request: no such take; invalid_input: the log can't be used, with the reason. Nothing is
///   written then
struct AttachedLog {
    OpenedJob opened;
    Take take;
    std::string text;                ///< what the log holds, in a line
    std::vector<Warning> warnings;   ///< what was odd about it
};
AttachedLog attach_rpm_log(const std::filesystem::path& folder, const TakeOptions& options);

/// "4.2=bump". throws Error invalid_request
Mark mark_from(const std::string& text);

/// "2026-01-31T10:12:00", by the local clock.
std::string local_time_now();

}  // namespace hushtrace::cli
