#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gain_parts.hpp"
#include "hushtrace/job/percent_text.hpp"
#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

std::string volts(double value) {
    return value < 1.0 ? fmt::format("{:.0f} mV", value * 1000) : fmt::format("{:.2f} V", value);
}
std::string percent(double value) {
    if (value < 0.001) return "under 0.001 %";
    if (value < 0.095) return fmt::format("{:.1g} %", value);
    return value < 9.5 ? fmt::format("{:.1f} %", value) : fmt::format("{:.0f} %", value);
}
/// The volume one step below the ceiling in its curve, if one was played.
std::optional<double> one_step_lower(const StepCurve& curve, double volume) {
    std::optional<double> lower;
    for (const VolumeStep& step : curve.steps)
        if (step.volume && *step.volume < volume && (!lower || *step.volume > *lower)) lower = step.volume;
    return lower;
}

std::string ceiling_found(const GainAnalysis& analysis, const GainCurve& by) {
    const Ceiling& c = *analysis.ceiling;
    const double next = c.next_volume_thd_percent.value_or(0.0);
    std::string level = c.level_v ? volts(*c.level_v) : fmt::format("{:.1f} dBFS", c.level_dbfs);
    if (c.level_v && c.level_v_sd) level += " ±" + percent_text(200.0 * *c.level_v_sd / *c.level_v);
    if (by.tone_is_stepped)
        return fmt::format(
            "At this volume the source stays clean up to step {} of the tone's levels ({} at {:.4g} Hz, THD "
            "{}); the next step has {}. Turn the volume down until the loudest step is clean.",
            c.step, level, c.tone_hz, percent(c.thd_percent), percent(next));
    std::string text = fmt::format(
        "The source plays clean up to {}: {} on the {} channel with the {:.4g} Hz tone, THD {}. The next "
        "step up has {}.",
        at_volume(c.volume, c.step), level, spaced(to_word(c.channel)), c.tone_hz, percent(c.thd_percent),
        percent(next));
    // Far above: the step between is coarse, and where in it clipping begins is not known.
    if (next > 3.0 * analysis.limit_thd_percent) {
        const auto lower = c.volume ? one_step_lower(by.curve, *c.volume) : std::nullopt;
        text +=
            lower
                ? fmt::format(
                      " That is far over the limit, so the edge lies close: {:g} leaves a step of margin.",
                      *lower)
                : std::string(
                      " That is far over the limit, so the edge lies close: stay one step lower for margin.");
    }
    return text;
}

std::string never_clips(const OpenedJob& job, const GainCurve& by) {
    const VolumeStep& top = by.curve.steps[*by.clean_step];
    const std::string level = top.level_v ? volts(*top.level_v) : fmt::format("{:.1f} dBFS", top.level_dbfs);
    if (by.tone_is_stepped)
        return fmt::format("No clipping up to the tone's highest level ({}): this volume is clean.", level);
    std::string text = fmt::format("No clipping up to {} ({}, THD {}), the highest that was played.",
                                   at_volume(top.volume, top.number), level, percent(top.thd_percent));
    const auto scale_top = job.job.source.volume_top;
    if (scale_top && top.volume && *top.volume >= *scale_top)
        return text + " That is the top of its scale: the whole scale may be used.";
    if (scale_top && top.volume)
        return text + fmt::format(
                          " The scale goes on to {:g}: capture the rest to find the ceiling, or never turn "
                          "it higher.",
                          *scale_top);
    return text + " If the scale goes higher, capture the rest, or never turn it higher.";
}

std::string always_distorted(const GainAnalysis& analysis, const GainCurve& by) {
    double least = by.curve.steps.front().thd_percent, most = least;
    for (const VolumeStep& step : by.curve.steps) {
        least = std::min(least, step.thd_percent);
        most = std::max(most, step.thd_percent);
    }
    std::string text = fmt::format("The {} channel is distorted at every volume that was played ({:.4g} Hz tone, THD {} to {}, limit {}). ",
                                   spaced(to_word(by.curve.channel)), by.curve.tone_hz, percent(least), percent(most),
                                   percent(analysis.limit_thd_percent));
    if (!by.even_distortion)
        return text +
               "It changes with the volume: the source is too loud at all of these. Start at a lower volume and capture again. If that "
               "brings nothing, set its tone controls flat.";
    const VolumeStep& up_to = by.curve.steps[*by.even_up_to];
    text += most < 1.5 * least ? "It hardly changes with the volume"
                               : fmt::format("Up to {} it hardly changes with the volume", at_volume(up_to.volume, up_to.number));
    return text +
           ", so it happens before the volume control: turn bass, treble, loudness and equaliser down to flat, check that the tone file "
           "itself is clean, and capture again.";
}

std::string no_plateau(const GainCurve& by) {
    const std::string channel = spaced(to_word(by.curve.channel));
    if (by.tone_there_s <= 0)
        return fmt::format(
            "No stretch of steady {:.4g} Hz tone was found in the {} channel. Check lead and source, hold each volume step for two "
            "seconds, and capture again.",
            by.curve.tone_hz, channel);
    if (by.tone_there_s < std::max(1.0, 40.0 / by.curve.tone_hz))
        return fmt::format(
            "The {:.4g} Hz tone is in the {} channel for about {:.1f} s only: too short to read. Let it play, hold each volume step for two "
            "seconds, and capture again.",
            by.curve.tone_hz, channel, by.tone_there_s);
    return fmt::format(
        "The {:.4g} Hz tone is in the {} channel for {:.0f} s, but its level never stood still. Turn the knob one step, hold each step "
        "for two seconds, and capture again.",
        by.curve.tone_hz, channel, by.tone_there_s);
}

std::string without_ceiling(const OpenedJob& job, const GainAnalysis& analysis, const GainCurve& by) {
    const std::string& reason = analysis.ceiling_reason;
    const std::string channel = spaced(to_word(by.curve.channel));
    if (reason == "never_clips") return never_clips(job, by);
    if (reason == "always_distorted") return always_distorted(analysis, by);
    if (reason == "input_overloaded") {
        const std::string until =
            by.clean_step ? fmt::format(" Up to {} all is clean.",
                                        at_volume(by.clean_volume, by.curve.steps[*by.clean_step].number))
                          : std::string();
        return fmt::format(
            "The interface's own input overloads before the source does ({} channel), so no ceiling can be "
            "named.{} Turn its input gain down or put a pad of {:.0f} dB before it, calibrate again, and "
            "repeat the capture.",
            channel, until, by.pad_db.value_or(10.0));
    }
    if (reason == "wrong_tone")
        return fmt::format(
            "The tone in the capture is {:.5g} Hz, but job.json says {:.5g} Hz: another track was playing, "
            "or "
            "the entry is wrong. Play the right file, or correct the take's tone.",
            by.other_tone_hz.value_or(0.0), by.curve.tone_hz);
    if (reason == "too_noisy")
        return fmt::format(
            "There is too much noise on the {} channel to judge {} THD. Find the noise first (hushtrace "
            "noise), switch the engine off, or hold each step longer.",
            channel, percent(analysis.limit_thd_percent));
    return no_plateau(by);
}

}  // namespace

std::string ceiling_words(const OpenedJob& job, const GainAnalysis& analysis,
                          const std::vector<GainCurve>& curves, const GainCurve* decided_by) {
    std::string text = !decided_by        ? std::string("No take could be judged.")
                       : analysis.ceiling ? ceiling_found(analysis, *decided_by)
                                          : without_ceiling(job, analysis, *decided_by);
    constexpr double kPoorVolts = 0.1;          // 95 %: a gain is then 1 dB unsure
    constexpr double kBelowFullScale_db = 1.0;  // a file at -0.5 dBFS is usual, so that no player clips it
    if (decided_by && analysis.ceiling_usable() && !decided_by->tone_is_stepped &&
        decided_by->tone_level_dbfs < -kBelowFullScale_db)
        text +=
            fmt::format(" This holds for a tone of {:g} dBFS: a recording that reaches full scale is {:g} dB louder, and clips that much earlier.",
                        decided_by->tone_level_dbfs, -decided_by->tone_level_dbfs);
    const bool any_level =
        std::any_of(curves.begin(), curves.end(), [](auto& c) { return !c.curve.steps.empty(); });
    const bool calibrated = std::any_of(curves.begin(), curves.end(), [](auto& c) {
        return !c.curve.steps.empty() && c.curve.steps.front().level_v.has_value();
    });
    if (const auto& ceiling = analysis.ceiling;
        ceiling && ceiling->level_v && 2.0 * ceiling->level_v_sd.value_or(0.0) > kPoorVolts * *ceiling->level_v)
        text += " So poorly known are volts by the calibration: make it again with a louder tone, or on a lower range of the meter, and type every "
                "digit that it shows.";
    if (any_level && !calibrated)
        text +=
            " Volts are unknown until the interface is calibrated: measure a steady tone with a meter and run hushtrace calibrate. The "
            "volume holds without it.";
    return text;
}

}  // namespace hushtrace
