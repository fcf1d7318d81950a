#include "gain_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

bool any(const GainMoment& now, ToneState state) {
    return std::any_of(now.levels.begin(), now.levels.end(), [state](const LiveLevel& one) { return one.tone == state; });
}
bool all(const GainMoment& now, ToneState state) {
    return std::all_of(now.levels.begin(), now.levels.end(), [state](const LiveLevel& one) { return one.tone == state; });
}

GainSaid without_tone(const GainMoment& now) {
    if (now.other_hz)
        return {fmt::format("wrong tone: {:.{}f} Hz", *now.other_hz, std::abs(*now.other_hz / now.tone_hz - 1.0) < 0.01 ? 1 : 0),
                fmt::format("play {:g} Hz, or end and state the tone that plays", now.tone_hz)};
    if (now.muted) return {"the tone is gone", now.source_plays ? "start it again: the file has ended, or the source muted"
                                                                : "look at the leads; has the source muted?"};
    if (now.source_plays) return {"no tone", fmt::format("start the {:g} Hz file on the source, volume low", now.tone_hz)};
    return {"no tone", "turn the volume up a little; look at leads and the source's input"};
}

GainSaid at_clean_step(const GainMoment& now, const LiveStep& step) {
    const std::string here = place_of(step);
    if (now.ceiling && now.ceiling->final) {
        if (now.ceiling->step.number == step.number) return {"ceiling: " + here, "this is it: leave it here and end", LiveMove::stay};
        return {"ceiling: " + place_of(now.ceiling->step), fmt::format("go back to {} to set the gain, or end", place_of(now.ceiling->step)),
                LiveMove::back};
    }
    if (now.volume && now.volume_top && *now.volume >= *now.volume_top)
        return {"clean up to the top, " + here, "the scale ends here: end"};
    if (now.ceiling && now.ceiling->step.number != step.number)
        return {"clean at " + here, fmt::format("turn it up, on from {}", place_of(now.ceiling->step)), LiveMove::up};
    return {"clean at " + here, "turn it up one", LiveMove::up};
}

GainSaid at_distorted_step(const GainMoment& now) {
    if (!now.ceiling)
        return {"distorted from the start", "turn it well down; set bass, treble and loudness flat", LiveMove::back};
    if (now.ceiling->step.volume) return {"too far", fmt::format("back to {}, or end here", place_of(now.ceiling->step)), LiveMove::back};
    return {"too far", "one back, or end here", LiveMove::back};
}

}  // namespace

std::string place_of(const LiveStep& step) {
    return step.volume ? fmt::format("{:g}", *step.volume) : fmt::format("step {}", step.number);
}

double live_pad_db(const GainMoment& now) {
    double rise_db = 1.5;  // a usual volume step; no source
    if (now.steps.size() >= 3) {
        const LiveStep &a = now.steps[now.steps.size() - 3], &b = now.steps[now.steps.size() - 2];
        rise_db = std::max(0.5, b.level_dbfs - a.level_dbfs);
    }
    double steps_left = 4;
    if (now.volume && now.volume_top) steps_left = std::max(1.0, (*now.volume_top - *now.volume) / now.volume_step + 1);
    const double above_db = rise_db * steps_left;
    for (const double pad : {6.0, 10.0, 20.0, 30.0})
        if (above_db + 3.0 <= pad) return pad;
    return 40.0;
}

GainSaid say_gain(const GainMoment& now) {
    if (any(now, ToneState::overloaded))
        return {"the interface is overloaded",
                fmt::format("turn it down and end; put in a {:.0f} dB pad, calibrate, start over", live_pad_db(now)),
                LiveMove::back};
    if (now.levels.empty()) return {"no signal channel", "name the inputs: --channels left,right"};
    if (all(now, ToneState::absent) || now.other_hz) return without_tone(now);
    if (!now.begun) return {"tone heard", "hold the knob still", LiveMove::hold};
    if (any(now, ToneState::moving) || !now.current || *now.current >= now.steps.size()) return {"reading", "hold the knob still", LiveMove::hold};
    const LiveStep& step = now.steps[*now.current];
    if (now.counts && !step.volume && step.tone == ToneState::clean)
        return {"clean, but not counted", "say what you turned: one up, or one back"};
    switch (step.tone) {
        case ToneState::clean: return at_clean_step(now, step);
        case ToneState::distorted: return at_distorted_step(now);
        case ToneState::unsure: return {"noise hides the distortion", "hold it longer; if it stays so, find the noise first"};
        case ToneState::overloaded:
        case ToneState::absent:
        case ToneState::moving: break;
    }
    return {"reading", "hold the knob still", LiveMove::hold};
}

}  // namespace hushtrace
