#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "at_ear.hpp"
#include "gain_noise.hpp"
#include "gain_parts.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

bool above_zero(const std::optional<double>& value) {
    return value && std::isfinite(*value) && *value > 0;
}

/// The curves that feed an amplifier: a sub amplifier takes the sub channel where one was captured, the
/// others take the rest; where that leaves nothing, all.
std::vector<const GainCurve*> curves_for(const AmplifierData& amplifier,
                                         const std::vector<GainCurve>& curves) {
    std::string name = amplifier.name;
    std::transform(name.begin(), name.end(), name.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    const bool sub = name.find("sub") != std::string::npos;
    std::vector<const GainCurve*> chosen, all;
    for (const GainCurve& one : curves) {
        if (!one.clean_step || one.tone_is_stepped) continue;
        all.push_back(&one);
        if ((one.curve.channel == Channel::sub) == sub) chosen.push_back(&one);
    }
    return chosen.empty() ? all : chosen;
}

/// What the curve's channel delivers at the job's volume.
const VolumeStep* step_at(const GainCurve& one, std::optional<double> volume) {
    if (volume)
        for (const VolumeStep& step : one.curve.steps)
            if (step.volume == volume) return &step;
    return &one.curve.steps[*one.clean_step];
}

void note_ranges(const AmplifierData& amplifier, AmplifierSetting& setting) {
    if (!setting.sensitivity_v || !amplifier.sensitivity_v) return;
    const auto [low, high] = std::minmax((*amplifier.sensitivity_v)[0], (*amplifier.sensitivity_v)[1]);
    if (!(low > 0)) return;
    if (*setting.sensitivity_v < low)
        setting.notes.push_back(
            fmt::format("outside the amplifier's range {:g} to {:g} V: at its most sensitive end it still "
                        "falls {:.1f} dB short of "
                        "full output; a source with more output, or a line driver, would be needed",
                        low, high, decibels_from_amplitude(low / *setting.sensitivity_v)));
    if (*setting.sensitivity_v > high)
        setting.notes.push_back(
            fmt::format("outside the amplifier's range {:g} to {:g} V: even at its least sensitive end the "
                        "amplifier clips before the "
                        "source does; stay {:.1f} dB below the ceiling, or put a pad before its input",
                        low, high, decibels_from_amplitude(*setting.sensitivity_v / high)));
}

void note_cautions(const OpenedJob& job, const AmplifierData& amplifier, AmplifierSetting& setting) {
    if (amplifier.bridged_output.value_or(false))
        setting.notes.push_back(
            "bridged output: both wires are live. Read it with a meter across the two terminals that touches "
            "nothing "
            "else; never connect either wire to ground or to the interface");
    if (job.job.source.output == OutputKind::speaker && amplifier.input == OutputKind::line)
        setting.notes.push_back(
            "the source's output is at speaker level and this input is a line input: use its "
            "high-level input or a converter");
    for (const SpeakerData& speaker : job.job.speakers) {
        if (speaker.amplifier != amplifier.name || !above_zero(speaker.power_w)) continue;
        if (above_zero(amplifier.power_w) && above_zero(amplifier.load_ohm) &&
            *speaker.power_w < *amplifier.power_w)
            setting.notes.push_back(fmt::format(
                "the speaker is rated {:g} W, less than the amplifier: stop at {:.1f} V instead of {:.1f} V",
                *speaker.power_w, std::sqrt(*speaker.power_w * *amplifier.load_ohm),
                *setting.target_output_v));
    }
    if (setting.target_output_v)
        setting.notes.push_back(
            "set it with the speakers disconnected, tone in bursts of a few seconds; with speakers on, a "
            "full-power tone "
            "burns tweeters and harms hearing");
}

void add_noise(const OpenedJob& job, const AmplifierData& amplifier, const std::optional<InputNoise>& noise,
               double level_sd_db, AmplifierSetting& setting) {
    if (!noise || !setting.gain_db) return;
    setting.noise_at_output_dbv = noise->dbv + *setting.gain_db;
    setting.noise_sd_db = std::hypot(noise->sd_db, level_sd_db);
    setting.noise_limited_by = noise->limited_by;
    setting.notes.push_back(
        fmt::format("output noise is the source's and lead's from {} (engine {}) through this gain, 20 Hz to "
                    "20 kHz, without the "
                    "amplifier's own{}",
                    noise->take, to_word(noise->engine),
                    noise->limited_by == LimitedBy::interface
                        ? "; the interface's own noise is all that was seen, so it is lower than this"
                        : ""));
    setting.noise_at_ear_db_spl = at_ear_db_spl(job.job, amplifier, *setting.noise_at_output_dbv);
}

}  // namespace

void set_amplifiers(const OpenedJob& job, const OpenTake& open, const std::vector<GainCurve>& curves,
                    GainAnalysis& into) {
    const bool usable = into.ceiling || into.ceiling_reason == "never_clips";
    // Without a ceiling the highest volume that all channels played clean stands in for it.
    std::optional<double> volume = into.ceiling ? into.ceiling->volume : std::nullopt;
    if (!into.ceiling)
        for (const GainCurve& one : curves)
            if (one.clean_volume) volume = std::min(*one.clean_volume, volume.value_or(*one.clean_volume));

    for (const AmplifierData& amplifier : job.job.amplifiers) {
        AmplifierSetting setting;
        setting.name = amplifier.name;
        setting.target_output_v = full_output_v(amplifier);
        if (!setting.target_output_v)
            setting.notes.push_back("power_w and load_ohm, both above 0, are needed for its target output");

        const auto feeding = curves_for(amplifier, curves);
        const GainCurve* loudest = nullptr;
        for (const GainCurve* one : feeding) {
            const auto level_v = step_at(*one, volume)->level_v;
            if (level_v && (!loudest || *level_v > *step_at(*loudest, volume)->level_v)) loudest = one;
        }
        if (!usable) {
            setting.notes.push_back("no ceiling, so no gain can be given: see the reason above");
        } else if (loudest) {
            const double as_played_v = *step_at(*loudest, volume)->level_v,
                         tone_dbfs = loudest->tone_level_dbfs;
            setting.input_v_at_ceiling = as_played_v * amplitude_from_decibels(-tone_dbfs);
            if (const auto sd = step_at(*loudest, volume)->level_v_sd)
                setting.input_v_at_ceiling_sd = *setting.input_v_at_ceiling * *sd / as_played_v;
            setting.sensitivity_v = as_played_v;
            setting.sensitivity_v_sd = step_at(*loudest, volume)->level_v_sd;
            if (setting.target_output_v && setting.sensitivity_v_sd)
                setting.gain_sd_db = decibels_from_amplitude(1.0 + *setting.sensitivity_v_sd / as_played_v);
            if (setting.target_output_v)
                setting.gain_db = decibels_from_amplitude(*setting.target_output_v / as_played_v);
            if (std::abs(tone_dbfs) > 0.05)
                setting.notes.push_back(
                    fmt::format("measured with a tone of {:g} dBFS: that tone must bring the target output "
                                "from {:.2f} V. A recording "
                                "that reaches full scale asks for {:.2f} V there, {:g} dB more than source "
                                "and amplifier are set to "
                                "give, and clips in these peaks",
                                tone_dbfs, as_played_v, *setting.input_v_at_ceiling, -tone_dbfs));
            if (!into.ceiling)
                setting.notes.push_back(
                    "for the highest volume that was played, since no clipping was found");
            note_ranges(amplifier, setting);
            std::vector<Channel> channels;
            for (const GainCurve* one : feeding) channels.push_back(one->curve.channel);
            add_noise(job, amplifier, noise_at_input(job, open, channels), step_at(*loudest, volume)->level_sd_db, setting);
        } else {
            setting.notes.push_back(
                "not calibrated: run hushtrace calibrate with a meter's reading, then the input voltage "
                "and the gain follow");
        }
        note_cautions(job, amplifier, setting);
        into.amplifiers.push_back(setting);
    }
}

}  // namespace hushtrace
