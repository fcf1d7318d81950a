#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/live/live_snapshot.hpp"

namespace hushtrace {

/// What the words depend on, beyond the steps.
struct GainMoment {
    std::vector<LiveLevel> levels;  ///< of the signal channels
    std::vector<LiveStep> steps;
    std::optional<LiveCeiling> ceiling;
    std::optional<std::size_t> current;  ///< index into steps of the one at which the knob rests
    bool begun = false;
    double tone_hz = 0;
    std::optional<double> other_hz;  ///< what plays in place of the tone
    bool source_plays = false;
    bool muted = false;              ///< the tone was there, and fell away
    bool counts = false;             ///< volumes are known
    bool link_turns_volume = false;
    std::optional<double> volume, volume_top;
    double volume_step = 1;
};
struct GainSaid {
    std::string headline, next;
    LiveMove move = LiveMove::none;
};
/// What is, in a few words, and what to do, in one short sentence.
GainSaid say_gain(const GainMoment& moment);

/// "31" or "step 7".
std::string place_of(const LiveStep& step);

/// A usual size of attenuator that leaves the loudest step still to come 3 dB below the interface's end [dB].
double live_pad_db(const GainMoment& moment);

}  // namespace hushtrace
