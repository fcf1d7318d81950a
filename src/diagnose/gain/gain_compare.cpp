#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gain_parts.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

// Common practice, no source: what a usual source's own tolerances don't make.
constexpr double kHeldBack_db = 3.0, kBassFalls_db = 1.0, kApart_db = 10.0;
constexpr double kLowTone_hz = 200.0;

bool is_low(const GainCurve& c) {
    return c.curve.tone_hz < kLowTone_hz;
}

/// A setting's level at the probe against what was played, where nothing bends it.
struct AtVolume {
    double volume = 0, gain_db = 0, sd_db = 0;
};

/// Straight settings by rising volume; empty where volumes aren't known.
std::vector<AtVolume> straight_part(const GainCurve& c, double limit_percent) {
    std::vector<AtVolume> out;
    for (const Rung& rung : rungs_of(c, limit_percent)) {
        const VolumeStep& step = c.curve.steps[rung.worst];
        if (!rung.volume) return {};
        if (rung.verdict == StepVerdict::exceeds || rung.verdict == StepVerdict::overloaded) break;
        out.push_back({*rung.volume, c.level_at_probe_db(step) - c.tone_level_dbfs, step.level_sd_db});
    }
    return out;
}

/// The gain of a tone against another one's, at the volumes at which both are straight.
std::vector<AtVolume> against(const GainCurve& low, const GainCurve& high, double limit_percent) {
    std::vector<AtVolume> out;
    const auto highs = straight_part(high, limit_percent);
    for (const AtVolume& a : straight_part(low, limit_percent))
        for (const AtVolume& b : highs)
            if (a.volume == b.volume) out.push_back({a.volume, a.gain_db - b.gain_db, std::hypot(a.sd_db, b.sd_db)});
    return out;
}

/// The curve that shows what the volume does to a higher tone: the channel's own, else any.
const GainCurve* high_beside(const GainCurve& low, const std::vector<GainCurve>& curves) {
    const GainCurve* other = nullptr;
    for (const GainCurve& c : curves) {
        if (is_low(c) || c.tone_is_stepped || c.curve.steps.empty() || c.other_tone_hz) continue;
        if (c.curve.channel == low.curve.channel) return &c;
        if (!other) other = &c;
    }
    return other;
}

std::optional<Warning> bass_fall(const GainCurve& low, const GainCurve& high, double limit_percent) {
    const auto ratio = against(low, high, limit_percent);
    if (ratio.size() < 3) return std::nullopt;
    const auto most = std::max_element(ratio.begin(), ratio.end(), [](auto& a, auto& b) { return a.gain_db < b.gain_db; });
    const double fall = most->gain_db - ratio.back().gain_db;
    const auto begins = std::find_if(ratio.rbegin(), ratio.rend(), [&](auto& one) { return one.gain_db > most->gain_db - 0.1 * fall; });
    if (fall < std::max(kBassFalls_db, 4.0 * std::hypot(most->sd_db, ratio.back().sd_db))) return std::nullopt;
    return Warning{"bass_falls",
                   fmt::format("{}: from volume {:g} to {:g} the {:.4g} Hz tone rises {:.1f} dB less than the {:.4g} Hz tone: the "
                               "source turns its bass down as it gets louder. That is no limiter and no clipping. Set gains with "
                               "the source at the ceiling; at lower volumes there will be more bass",
                               spaced(to_word(low.curve.channel)), begins->volume, ratio.back().volume, low.curve.tone_hz, fall,
                               high.curve.tone_hz),
                   low.curve.take};
}

/// Two tones in one channel at the same volumes.
void compare_tones(GainCurve& low, GainCurve& high, double limit_percent, std::vector<Warning>& warnings) {
    if (!low.compares_with(high)) return;
    const auto ratio = against(low, high, limit_percent);
    if (ratio.empty()) return;
    const auto [least, most] = std::minmax_element(ratio.begin(), ratio.end(), [](auto& a, auto& b) { return a.gain_db < b.gain_db; });
    const std::string channel = spaced(to_word(low.curve.channel));
    const std::string lead = fmt::format("{}: at the same volume the {:.4g} Hz tone comes in {:.1f} dB ", channel, low.curve.tone_hz,
                                         most->gain_db <= -kHeldBack_db ? -most->gain_db : least->gain_db);
    const std::string than = fmt::format(" than the {:.4g} Hz tone: ", high.curve.tone_hz);
    if (most->gain_db <= -kHeldBack_db) {
        low.held_back = true;
        warnings.push_back({"crossover",
                            lead + "lower" + than +
                                "a crossover (high-pass) or a bass cut is on in the source. Switch it off, set the tone controls "
                                "flat, and capture again",
                            low.curve.take});
    } else if (least->gain_db >= kHeldBack_db && low.curve.channel == Channel::sub) {
        high.held_back = true;
        warnings.push_back({"crossover",
                            lead + "louder" + than +
                                "a crossover (low-pass) is on for this channel. Judge it by the low tone, or set the crossover as "
                                "high as it goes and capture again",
                            high.curve.take});
    } else if (least->gain_db >= kHeldBack_db) {
        warnings.push_back({"bass_boosted",
                            lead + "louder" + than +
                                "bass boost, loudness or an equaliser is on. Set them flat and capture again, or the ceiling holds "
                                "for this setting alone",
                            low.curve.take});
    }
}

/// The channels of one take, which share tone and volume.
void compare_channels(std::vector<GainCurve*>& of_take, double limit_percent, std::vector<Warning>& warnings) {
    const auto usual_level = [&](const GainCurve& c, const GainCurve& beside) -> std::optional<double> {
        if (!c.compares_with(beside)) return std::nullopt;
        std::vector<double> apart;
        for (const VolumeStep& x : c.curve.steps)
            for (const VolumeStep& y : beside.curve.steps) {
                const auto bent = [&](const VolumeStep& s) {
                    const StepVerdict verdict = judge_step(s, limit_percent);
                    return verdict == StepVerdict::exceeds || verdict == StepVerdict::overloaded;
                };
                if (x.number == y.number && !bent(x) && !bent(y)) apart.push_back(c.level_at_probe_db(x) - beside.level_at_probe_db(y));
            }
        if (apart.empty()) return std::nullopt;
        const auto middle = apart.begin() + static_cast<std::ptrdiff_t>(apart.size() / 2);
        std::nth_element(apart.begin(), middle, apart.end());
        return *middle;
    };
    for (GainCurve* quiet : of_take) {
        const GainCurve* loudest = nullptr;
        double most = -kApart_db;
        for (const GainCurve* beside : of_take) {
            if (beside == quiet) continue;
            if (const auto apart = usual_level(*quiet, *beside); apart && *apart <= most) {
                loudest = beside;
                most = *apart;
            }
        }
        if (!loudest) continue;
        const bool sub = quiet->curve.channel == Channel::sub, sub_loud = loudest->curve.channel == Channel::sub;
        const std::string lead = fmt::format("{}: the {:.4g} Hz tone comes in {:.0f} dB lower than on {}: ", spaced(to_word(quiet->curve.channel)),
                                             quiet->curve.tone_hz, -most, spaced(to_word(loudest->curve.channel)));
        if (sub && !is_low(*quiet)) {
            quiet->held_back = true;
            warnings.push_back({"crossover",
                                lead + "a crossover (low-pass) is on for this channel. Step the volume with a low tone (40 to 50 Hz) as "
                                       "well to judge it",
                                quiet->curve.take});
        } else if (!sub && sub_loud && is_low(*quiet)) {
            quiet->held_back = true;
            warnings.push_back({"crossover",
                                lead + "a crossover (high-pass) is on for this channel. Switch it off and capture again, or judge it by "
                                       "997 Hz",
                                quiet->curve.take});
        } else {
            warnings.push_back({"channel_quiet", lead + "check balance, fader, its level setting and its lead", quiet->curve.take});
        }
    }
}

/// A limiter holds the level from somewhere between the step before and this one on.
Knee limiter_at(const VolumeStep& step, const VolumeStep& before) {
    Knee out;
    out.kind = "limiter";
    out.step = step.number;
    out.volume = step.volume;
    const double sd_db = std::hypot(step.level_sd_db, (step.level_dbfs - before.level_dbfs) / std::sqrt(12.0));
    out.dbfs = Reading{step.level_dbfs, sd_db, LimitedBy::nothing};
    if (!step.level_v) return out;
    const double own = *step.level_v * (amplitude_from_decibels(sd_db) - 1.0);
    out.v = Reading{*step.level_v, std::hypot(own, step.level_v_sd.value_or(0.0)), LimitedBy::nothing};
    return out;
}

/// Whether another tone rises on where this one's level lags.
enum class Beside { rises, lags, unknown };
Beside beside(const GainCurve& low, const GainCurve* high, double limit_percent) {
    const VolumeStep &at = low.curve.steps[low.lags_from->first], &before = low.curve.steps[low.lags_from->second];
    if (!high || !at.volume || !before.volume) return Beside::unknown;
    std::optional<double> below, above;
    for (const AtVolume& one : straight_part(*high, limit_percent)) {
        if (one.volume == *before.volume) below = one.gain_db;
        if (one.volume == *at.volume) above = one.gain_db;
    }
    if (!below || !above) return Beside::unknown;
    return *above - *below > std::max(0.1, 2.0 * (at.level_dbfs - before.level_dbfs)) ? Beside::rises : Beside::lags;
}

void tell_lag(GainCurve& one, const GainCurve* high, bool bass_falls, double limit_percent, std::vector<Warning>& warnings) {
    const VolumeStep &at = one.curve.steps[one.lags_from->first], &before = one.curve.steps[one.lags_from->second];
    const std::string from = fmt::format("{}: from {} on the level hardly rises and the tone stays clean: ", spaced(to_word(one.curve.channel)),
                                         at_volume(at.volume, at.number));
    const Beside seen = is_low(one) && !one.tone_is_stepped ? beside(one, high, limit_percent) : Beside::lags;
    if (bass_falls || seen == Beside::rises) return;
    if (seen == Beside::unknown) {
        warnings.push_back({"level_lags",
                            from + fmt::format("either the source limits, or it turns its bass down as it gets louder. Step through the same "
                                               "volumes with 997 Hz: where that rises on, it is the bass"),
                            one.curve.take});
        return;
    }
    one.curve.knee = limiter_at(at, before);
    if (one.curve.ceiling) one.curve.ceiling->knee = one.curve.knee;
    warnings.push_back({"limiter", from + "the source limits. Nothing is won above that", one.curve.take});
}

void tell_folding(const std::vector<GainCurve>& curves, std::vector<Warning>& warnings) {
    for (const GainCurve& c : curves) {
        if (!c.folding) continue;
        const std::string text = fmt::format(
            "{} with the {:.4g} Hz tone: the source clips in its digital part (harmonics fold at its {:g} kHz): {}", spaced(to_word(c.curve.channel)),
            c.curve.tone_hz, 1e-3 * c.folding->clipped_at_hz,
            c.curve.ceiling ? "the top of its volume scale, or a boost set in it, goes past its own full scale. The ceiling holds as it is"
                            : "a boost set in it goes past its own full scale. Turn bass, treble, loudness and equaliser down");
        warnings.push_back({"clips_digitally", text, c.curve.take});
        return;  // one says it for all
    }
}

}  // namespace

void compare_curves(std::vector<GainCurve>& curves, double limit_percent, std::vector<Warning>& warnings) {
    std::vector<const Take*> takes;
    for (const GainCurve& c : curves)
        if (std::find(takes.begin(), takes.end(), c.take) == takes.end()) takes.push_back(c.take);
    for (const Take* take : takes) {
        std::vector<GainCurve*> of_take;
        for (GainCurve& c : curves)
            if (c.take == take && !c.other_tone_hz) of_take.push_back(&c);
        compare_channels(of_take, limit_percent, warnings);
    }
    for (GainCurve& c : curves) {
        if (c.other_tone_hz || c.curve.steps.empty()) continue;
        const GainCurve* high = is_low(c) && !c.tone_is_stepped ? high_beside(c, curves) : nullptr;
        std::optional<Warning> falls;
        if (high) falls = bass_fall(c, *high, limit_percent);
        if (falls) warnings.push_back(*falls);
        if (high && high->curve.channel == c.curve.channel && !c.held_back)
            for (GainCurve& other : curves)
                if (&other == high) compare_tones(c, other, limit_percent, warnings);
        if (c.lags_from) tell_lag(c, high, falls.has_value(), limit_percent, warnings);
    }
    tell_folding(curves, warnings);
}

}  // namespace hushtrace
