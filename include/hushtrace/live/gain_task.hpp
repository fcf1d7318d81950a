#pragma once
#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/live/live_snapshot.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// What the gain task is to watch.
struct GainWatch {
    double sample_rate_hz = 0, tone_hz = 0;
    double limit_thd_percent = 1.0;
    std::vector<Channel> channels;
    std::vector<std::optional<double>> volts_full_scale;  ///< [channels]
    std::optional<double> volume_start, volume_top;
    double volume_step = 1;
    bool link_turns_volume = false;  ///< the simulated vehicle's knob
    bool source_plays = false;       ///< the tone comes from a file that the source plays itself
    bool waits_for_readings = false; ///< read each step at once, however long it takes: for sound that isn't in real time
};

/// Follows a hand that turns the volume up while a tone plays: the tone in each channel now, the steps at which the knob
/// rested, the highest clean one, and what to do next.
///
/// A step is a rest of half a second (or 15 cycles of the tone) or more, found as find_plateaus() finds plateaus, and read
/// as `gain` reads them (measure_distortion over up to 1.5 s): once when it is reached, again when 1.5 s are there. That
/// reading is done on a thread of its own. The figures that move come from ToneMeter. Its verdict is that of `gain`: clean
/// when THD plus twice its uncertainty keeps the limit.
///
/// Times are seconds since begin(), or since the first sample before that. One thread at a time may call.
class GainTask {
public:
    /// throws Error invalid_request as ToneMeter does, and for a tone whose third harmonic lies outside the capture's band
    explicit GainTask(GainWatch watch);
    ~GainTask();
    GainTask(const GainTask&) = delete;
    GainTask& operator=(const GainTask&) = delete;

    void add(const Block& block);
    /// Whether the stated tone has been heard for 0.3 s.
    bool hears_tone() const;
    /// From the next sample on steps are counted, from wherever the knob was said to stand by then.
    void begin();
    /// A hand says that it turned the volume up (or down) one; the link did, to `volume`.
    void said_up();
    void said_down();
    void turned_to(double volume);

    static constexpr std::size_t most_shown_steps = 300;
    /// Fills in levels (all but peak_dbfs), steps (the last of them), ceiling, volume, headline, next.
    void fill(LiveSnapshot& snapshot) const;
    /// What happened since the last call: kind and text, as LiveEvent has them.
    std::vector<std::pair<std::string, std::string>> take_events();
    /// One volume for each plateau that `gain` will find in the sound since begin(); empty where they are not known.
    std::vector<double> volume_steps() const;
    /// Waits for readings under way. Call before a last fill().
    void finish();

private:
    struct State;
    std::unique_ptr<State> state_;
};

/// The highest clean step below the first that isn't, in order of volume, where all are known, else of level. Unset when
/// none is clean. `final`: that first one is distorted.
std::optional<LiveCeiling> live_ceiling(const std::vector<LiveStep>& steps);

/// Clean, distorted or unsure, as `gain` judges a step.
ToneState judge_tone(double thd_percent, double thd_sd_percent, double limit_percent);

}  // namespace hushtrace
