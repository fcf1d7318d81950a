#pragma once
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/signal/conditions.hpp"

/// What the moving view shows, as plain data: one snapshot for the terminal, the plain lines and the phone page.
namespace hushtrace {

enum class LiveTask {
    gain,   ///< a tone plays, a hand turns the volume up
    follow  ///< one noise source is followed while a hand moves cables
};
enum class LiveState {
    waiting,  ///< sound comes in, but it was not started
    running,
    ended  ///< by request, or the link broke off (`failure` says so)
};
/// What a channel's tone looks like now.
enum class ToneState {
    absent,    ///< no tone, or another one than stated
    moving,    ///< the knob is being turned: no reading yet
    clean,     ///< distortion keeps the limit
    distorted, ///< distortion is above the limit
    unsure,    ///< noise leaves it open
    overloaded ///< the interface runs against its end: nothing can be said of the source
};
/// Which way the knob should go, as far as the sentence of what to do comes to that.
enum class LiveMove {
    none,
    up,    ///< one step
    hold,  ///< not now: it is being read
    back,  ///< too far
    stay   ///< this is the ceiling
};
std::string_view to_word(LiveTask task);
std::string_view to_word(LiveState state);
std::string_view to_word(ToneState state);
std::string_view to_word(LiveMove move);

/// One channel now.
struct LiveLevel {
    Channel channel = Channel::left;
    double level_dbfs = 0;                    ///< of the tone where there is one, else of all sound; -infinity for digital silence
    std::optional<double> level_v, level_dbv; ///< the same; unset without calibration
    double peak_dbfs = 0;                     ///< largest sample of the last second
    std::optional<double> thd_percent, thd_sd_percent;
    ToneState tone = ToneState::absent;
};
/// A setting of the knob that was held long enough to be read.
struct LiveStep {
    std::size_t number = 0;        ///< from 1, in order of time
    std::optional<double> volume;  ///< unset where nobody said
    double level_dbfs = 0;
    std::optional<double> level_v;
    double thd_percent = 0, thd_sd_percent = 0;
    ToneState tone = ToneState::clean;  ///< the worst of the channels
    Channel channel = Channel::left;    ///< which that is
};
/// The highest clean step so far.
struct LiveCeiling {
    LiveStep step;
    bool final = false;  ///< a higher step was too much: this is the ceiling. Else only "clean so far"
};
/// The noise source that is followed.
struct LiveFollow {
    std::string name;                   ///< "alternator whine", "1187 Hz"
    Channel channel = Channel::left;    ///< the one whose level is shown
    bool calibrated = false;            ///< levels are dBV, else dBFS
    std::optional<double> frequency_hz; ///< now; unset while it can't be made out
    std::optional<double> level_db, lowest_db, start_db;
    std::optional<double> change_db;    ///< now against the start; negative is quieter
    std::optional<double> sd_db;        ///< of level_db
    bool at_most = false;               ///< it is covered by other noise: level_db is what it may have at most
    bool lowest_at_most = false;        ///< the same of lowest_db
    bool looking = false;               ///< it was not found yet: nothing but the name is set
    bool steady = false;                ///< the level held still for a second: what is shown can be relied on
    std::optional<double> change_sd_db = std::nullopt; ///< of change_db
    std::optional<double> speed_change = std::nullopt; ///< of what follows an engine: its speed now against the start's, less 1
};
/// What happened, in order. A view that was away asks for those it missed.
struct LiveEvent {
    std::uint64_t number = 0;  ///< from 1, without gaps
    double time_s = 0;         ///< since the capture began
    std::string kind;          ///< "step" "ceiling" "tone" "fault" "jump" "kept" "mark" "reference" "started" "ended"
    std::string text;          ///< one sentence
};
struct LiveSnapshot {
    std::uint64_t number = 0;  ///< set by the board: from 1
    double time_s = 0;         ///< captured so far
    LiveTask task = LiveTask::gain;
    LiveState state = LiveState::waiting;
    std::string title;         ///< the job's
    double tone_hz = 0;        ///< task gain
    double limit_thd_percent = 1.0;
    std::optional<double> volume;  ///< the knob's place, where known
    bool turns_volume = false;     ///< the link turns the knob itself (the simulated vehicle)
    std::vector<LiveLevel> levels; ///< [channel]
    std::vector<LiveStep> steps;
    std::optional<LiveCeiling> ceiling;
    std::optional<LiveFollow> follow;
    std::string headline, next;    ///< what is, in a few words; what to do, in one sentence
    LiveMove move = LiveMove::none; ///< task gain: the same as `next`, for a picture of it
    bool armed = false;            ///< a jump of the level stores the last minute as a take
    std::size_t kept = 0;          ///< takes stored so far
    std::uint64_t dropouts = 0, overloads = 0;
    std::string failure;           ///< why it ended early; empty otherwise
    std::chrono::steady_clock::time_point heard_at{};  ///< when the newest sound in it came from the link
};

}  // namespace hushtrace
