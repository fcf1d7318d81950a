#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "gain_parts.hpp"
#include "hushtrace/diagnose/step_verdict.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

using Verdict = StepVerdict;

/// Attenuation [dB] that leaves the loudest step 3 dB below the interface's rail: the clean steps' rise is
/// carried on to the top, and a usual size of pad taken.
double pad_for(const StepCurve& curve, const std::vector<Rung>& rungs, std::size_t first_overloaded) {
    double top_dbfs = 0.0;
    if (first_overloaded >= 2) {
        const VolumeStep &a = curve.steps[rungs[first_overloaded - 2].worst],
                         &b = curve.steps[rungs[first_overloaded - 1].worst];
        const double rise = std::max(0.0, b.level_dbfs - a.level_dbfs);
        top_dbfs = b.level_dbfs + rise * static_cast<double>(rungs.size() - first_overloaded);
    } else {
        top_dbfs = 3.0 * static_cast<double>(rungs.size());
    }
    for (const double pad : {6.0, 10.0, 20.0, 30.0})
        if (top_dbfs + 3.0 <= pad) return pad;
    return 40.0;
}

/// Distortion from before the volume control is the same at every setting while the level rises with it. A stage behind
/// it that is driven far too hard changes its distortion before its output has risen by 2 dB: a clipped sine's level ends
/// 2.1 dB over the rail's (4 / pi, the square wave).
void look_for_even_distortion(GainCurve& one, const std::vector<Rung>& rungs) {
    constexpr double kRise = 2.0, kAlike = 0.1;
    const VolumeStep& lowest = one.curve.steps[rungs.front().worst];
    for (const Rung& rung : rungs) {
        const VolumeStep& step = one.curve.steps[rung.worst];
        const double margin = kAlike * lowest.thd_percent + 2.0 * (step.thd_sd_percent + lowest.thd_sd_percent);
        if (step.input_overload || std::abs(step.thd_percent - lowest.thd_percent) > margin) break;
        if (step.level_dbfs < lowest.level_dbfs + kRise) continue;
        one.even_distortion = true;
        one.even_up_to = rung.worst;
    }
}

void look_for_lag(GainCurve& one, const std::vector<Rung>& rungs) {
    std::vector<LevelStep> steps;
    double level_dbfs = 0;  // as if the volume had been turned by one number each time
    for (std::size_t r = 0; r < rungs.size(); ++r) {
        if (r > 0) {
            const double turned = rungs[r].volume && rungs[r - 1].volume ? *rungs[r].volume - *rungs[r - 1].volume : 1.0;
            level_dbfs += (one.curve.steps[rungs[r].worst].level_dbfs - one.curve.steps[rungs[r - 1].worst].level_dbfs) / turned;
        }
        steps.push_back({level_dbfs, rungs[r].verdict == Verdict::clean});
    }
    if (const auto from = limiter_from(steps)) one.lags_from = {rungs[*from].worst, rungs[*from - 1].worst};
}

/// The reason of a curve none of whose settings is clean.
void say_why_none_is_clean(GainCurve& one, const std::vector<Rung>& rungs) {
    const auto any = [&](Verdict verdict) { return std::any_of(rungs.begin(), rungs.end(), [&](const Rung& r) { return r.verdict == verdict; }); };
    if (any(Verdict::unsure)) {
        one.curve.ceiling_reason = "too_noisy";
    } else if (any(Verdict::exceeds)) {
        one.curve.ceiling_reason = "always_distorted";
        look_for_even_distortion(one, rungs);
    } else {
        one.curve.ceiling_reason = "input_overloaded";
        one.pad_db = pad_for(one.curve, rungs, 0);
    }
}

/// The ceiling at a step, the last clean one below `next`.
Ceiling ceiling_at(const StepCurve& curve, const VolumeStep& step, const VolumeStep& next) {
    Ceiling ceiling;
    ceiling.volume = step.volume;
    ceiling.step = step.number;
    ceiling.level_v = step.level_v;
    ceiling.level_v_sd = step.level_v_sd;
    ceiling.level_dbfs = step.level_dbfs;
    ceiling.thd_percent = step.thd_percent;
    ceiling.next_volume_thd_percent = next.thd_percent;
    ceiling.level_sd_db = step.level_sd_db;
    ceiling.thd_sd_percent = step.thd_sd_percent;
    ceiling.thd_limited_by = step.thd_limited_by;
    ceiling.next_volume_thd_sd_percent = next.thd_sd_percent;
    ceiling.next_volume_thd_limited_by = next.thd_limited_by;
    ceiling.knee = curve.knee;
    ceiling.channel = curve.channel;
    ceiling.tone_hz = curve.tone_hz;
    ceiling.take = curve.take;
    return ceiling;
}

constexpr double kSameLevel_db = 0.5;

/// Whether a curve answers what the other, of another take, left open: the same tone on the same channel, no quieter, as far up at least, and
/// no overload.
bool answers(const GainCurve& one, const GainCurve& open) {
    return one.curve.channel == open.curve.channel && one.curve.tone_hz == open.curve.tone_hz && one.tone_is_stepped == open.tone_is_stepped &&
           one.tone_level_dbfs > open.tone_level_dbfs - kSameLevel_db && (one.curve.ceiling || one.curve.ceiling_reason == "never_clips") &&
           (!open.clean_volume || (one.clean_volume && *one.clean_volume >= *open.clean_volume));
}

bool made_alike(const Conditions& a, const Conditions& b) {
    return a.point == b.point && a.at_amplifier == b.at_amplifier && a.input == b.input;
}

/// Another take, made at the same place, of which each channel answers this one's.
const Take* replacement_of(const Take* take, const std::vector<GainCurve>& curves) {
    std::vector<const Take*> others;
    for (const GainCurve& one : curves)
        if (one.take != take && made_alike(one.take->conditions, take->conditions) &&
            std::find(others.begin(), others.end(), one.take) == others.end())
            others.push_back(one.take);
    for (const Take* other : others)
        if (std::all_of(curves.begin(), curves.end(), [&](const GainCurve& mine) {
                return mine.take != take || std::any_of(curves.begin(), curves.end(),
                                                        [&](const GainCurve& theirs) { return theirs.take == other && answers(theirs, mine); });
            }))
            return other;
    return nullptr;
}

}  // namespace

std::vector<Rung> rungs_of(const GainCurve& one, double limit_percent) {
    const StepCurve& curve = one.curve;
    std::vector<std::size_t> order(curve.steps.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    const bool volumes_known =
        std::all_of(curve.steps.begin(), curve.steps.end(), [](auto& s) { return s.volume.has_value(); });
    const auto height = [&](std::size_t i) {
        const VolumeStep& step = curve.steps[i];
        if (volumes_known) return *step.volume;
        return step.number <= one.setting_of_step.size() ? static_cast<double>(one.setting_of_step[step.number - 1]) : step.level_dbfs;
    };
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return height(a) < height(b); });
    std::vector<Rung> rungs;
    for (const std::size_t i : order) {
        const VolumeStep& step = curve.steps[i];
        const Rung rung{volumes_known ? step.volume : std::nullopt, i, judge_step(step, limit_percent)};
        if (!rungs.empty() && height(rungs.back().worst) == height(i)) {
            const VolumeStep& other = curve.steps[rungs.back().worst];
            if (step.input_overload || (!other.input_overload && step.thd_percent > other.thd_percent))
                rungs.back() = rung;
        } else {
            rungs.push_back(rung);
        }
    }
    return rungs;
}

std::string at_volume(std::optional<double> volume, std::size_t step) {
    return volume ? fmt::format("volume {:g}", *volume) : fmt::format("step {}", step);
}

void decide_ceiling(GainCurve& one, double limit_percent, std::vector<Warning>& warnings) {
    StepCurve& curve = one.curve;
    if (one.other_tone_hz) {
        curve.ceiling_reason = "wrong_tone";
        return;
    }
    const std::vector<Rung> rungs = rungs_of(one, limit_percent);
    if (rungs.empty()) {
        curve.ceiling_reason = one.drowned ? "too_noisy" : "no_plateau";
        return;
    }
    const auto clean = [](const Rung& rung) { return rung.verdict == Verdict::clean; };
    const auto first_clean = std::find_if(rungs.begin(), rungs.end(), clean);
    if (first_clean == rungs.end()) {
        say_why_none_is_clean(one, rungs);
        return;
    }
    const auto bad = std::find_if_not(first_clean, rungs.end(), clean);
    const Rung& top = *std::prev(bad);
    one.clean_step = top.worst;
    one.clean_volume = top.volume;
    if (bad == rungs.end()) {
        curve.ceiling_reason = "never_clips";
        look_for_lag(one, rungs);
        return;
    }
    if (std::any_of(bad, rungs.end(), clean))
        warnings.push_back({"thd_not_monotone",
                            fmt::format("{}: distortion rises above the limit at {} and falls below it again further up; the lower place was taken. "
                                        "Capture again to be sure",
                                        to_word(curve.channel), at_volume(bad->volume, curve.steps[bad->worst].number)),
                            curve.take});
    if (bad->verdict == Verdict::overloaded) {
        curve.ceiling_reason = "input_overloaded";
        one.pad_db = pad_for(curve, rungs, static_cast<std::size_t>(bad - rungs.begin()));
        return;
    }
    if (bad->verdict == Verdict::unsure && std::none_of(bad, rungs.end(), [](const Rung& r) { return r.verdict == Verdict::exceeds; })) {
        curve.ceiling_reason = "too_noisy";
        return;
    }
    look_for_lag(one, rungs);
    curve.ceiling = ceiling_at(curve, curve.steps[top.worst], curve.steps[bad->worst]);
}

std::vector<GainCurve> set_aside_overloaded(std::vector<GainCurve>& curves, std::vector<Warning>& warnings) {
    std::vector<const Take*> aside;
    for (const GainCurve& one : curves) {
        if (one.curve.ceiling_reason != "input_overloaded" || std::find(aside.begin(), aside.end(), one.take) != aside.end()) continue;
        const Take* const by = replacement_of(one.take, curves);
        if (!by) continue;
        aside.push_back(one.take);
        warnings.push_back(
            {"overloaded_replaced",
             fmt::format("the interface was overloaded in this take; {} holds the same tone without that and counts in its place. To be "
                         "rid of this one: hushtrace job --withdraw {}",
                         by->file, one.take->file),
             one.take->file});
    }
    const auto kept = std::stable_partition(curves.begin(), curves.end(), [&](const GainCurve& one) {
        return std::find(aside.begin(), aside.end(), one.take) == aside.end();
    });
    std::vector<GainCurve> out(std::make_move_iterator(kept), std::make_move_iterator(curves.end()));
    curves.erase(kept, curves.end());
    return out;
}

const GainCurve* choose_ceiling(const std::vector<GainCurve>& curves, GainAnalysis& into) {
    const auto first_with = [&](const char* reason, bool held_back_too) -> const GainCurve* {
        const auto found = std::find_if(curves.begin(), curves.end(), [&](auto& c) {
            return c.curve.ceiling_reason == reason && (held_back_too || !c.held_back);
        });
        return found == curves.end() ? nullptr : &*found;
    };
    // Volumes compare across takes; where none is known a take's settings stand in, in rising order of level.
    const auto height = [](const GainCurve& c) {
        if (c.clean_volume) return *c.clean_volume;
        if (!c.clean_step) return 0.0;
        const std::size_t number = c.curve.steps[*c.clean_step].number;
        return static_cast<double>(number <= c.setting_of_step.size() ? c.setting_of_step[number - 1] + 1 : number);
    };
    const GainCurve* lowest = nullptr;
    for (const GainCurve& c : curves) {
        if (!c.curve.ceiling) continue;
        if (!lowest || height(c) < height(*lowest) ||
            (height(c) == height(*lowest) &&
             *c.curve.ceiling->next_volume_thd_percent > *lowest->curve.ceiling->next_volume_thd_percent))
            lowest = &c;
    }
    // A channel that is distorted throughout, or whose capture ends below the others' ceiling, leaves nothing
    // to claim.
    const GainCurve* against = first_with("always_distorted", true);
    for (const GainCurve& c : curves)
        if (!against && lowest &&
            (c.curve.ceiling_reason == "input_overloaded" || (c.curve.ceiling_reason == "too_noisy" && !c.held_back)) &&
            height(c) < height(*lowest))
            against = &c;
    if (lowest && !against) {
        into.ceiling = lowest->curve.ceiling;
        return lowest;
    }
    // What a crossover keeps from a channel tells nothing of the source, unless there is nothing else.
    for (const bool held_back_too : {false, true})
        for (const char* reason : {"input_overloaded", "too_noisy", "never_clips", "wrong_tone", "no_plateau"})
            if (!against) against = first_with(reason, held_back_too);
    if (against) into.ceiling_reason = against->curve.ceiling_reason;
    return against;
}

}  // namespace hushtrace
