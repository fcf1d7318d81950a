#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/audio/link.hpp"
#include "hushtrace/job/job.hpp"
#include "hushtrace/live/played_sound.hpp"
#include "hushtrace/measure/capture_faults.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {

inline constexpr double longest_capture_s = 86400.0;

/// When a script turns the source's knob, and to which volume.
struct KnobTurn {
    double time_s = 0;  ///< since the capture began
    double volume = 0;
};

/// What to capture, and what is known of it beforehand.
struct CaptureOrder {
    std::filesystem::path job_folder;
    std::string name = "take";  ///< the file's name without its suffix; a number is added where it is in use
    std::string suffix = ".flac";  ///< or ".wav"
    Take take;  ///< everything but file, marks, faults and recorded_at, which the session fills in
    bool plays_tone = false;  ///< play take.tone through the link's output while capturing
    double max_level_dbfs = usual_max_level_dbfs;
    /// Unset: as long as the tone, the volume steps or the knob's script need, else 10 s. A file link may end before.
    std::optional<double> duration_s;
    double step_s = 3.0;         ///< how long each of take.volume_steps lasts
    double steps_begin_s = 0.0;  ///< when the tone is there, where something else plays it
    /// Ascending times; for links that turn the volume. Not empty: the knob is turned by it, as by a hand, and
    /// take.volume_steps are only what is entered.
    std::vector<KnobTurn> knob_script;
};

struct ChannelLevel {
    double peak_dbfs, rms_dbfs;  ///< -infinity for digital silence
};
struct CaptureProgress {
    double captured_s = 0, duration_s = 0;
    std::vector<ChannelLevel> levels;           ///< [channel], since the last progress
    std::uint64_t overloads = 0, dropouts = 0;  ///< found so far
    std::optional<double> volume;               ///< the step that runs
    double step_left_s = 0;
};

/// What the session asks of those around it; each may be left empty. All are called on the thread of
/// run_capture().
struct CaptureHooks {
    std::function<void(const CaptureProgress&)> progress;  ///< some ten times a second, and at the end
    std::function<bool()> stop;                            ///< whether the user wants to end
    std::function<std::vector<Mark>(double now_s)> marks;  ///< marks made since the last call
    std::function<void(double volume)> turn_to;  ///< a volume step begins, and a hand must turn the knob
};

struct CaptureOutcome {
    Take take;  ///< as it stands in job.json
    std::uint64_t frames = 0;
    double sample_rate_hz = 0;
    std::vector<ChannelLevel> levels;                             ///< [channel] of the whole take
    CaptureFaults faults;                                         ///< what the data shows
    std::uint64_t flagged_overflows = 0, flagged_underflows = 0;  ///< what the device owned up to
    bool stopped_by_user = false;
    std::optional<Error> failure;  ///< device or disk broke off: what came before is kept and marked
};

/// The captured stretch that an order will take with this link [s]; infinite for a file without an asked
/// duration.
double capture_duration_s(const CaptureOrder& order, const Link& link);

/// Plays, captures, stores and examines one take and enters it in job.json.
///
/// The entry is made, marked `stopped`, when the first second is being stored and completed at the end, so
/// that a take whose recording was killed is known and marked. The output is ramped down and played to its
/// end also after the user's stop. Losses that the link flags and those that the data shows both become
/// TakeFault::dropout.
///   throws Error, nothing kept: as open_job, TakeWriter and PlayedSound; device_failed when the link breaks
///   off before it delivered anything; whatever a file link finds wrong with its file; invalid_request for a
///   duration or step time not above 0 or over a day, and for a channel count that differs from the take's
CaptureOutcome run_capture(Link& link, const CaptureOrder& order, const CaptureHooks& hooks = {});

}  // namespace hushtrace
