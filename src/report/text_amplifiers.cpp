#include "text_amplifiers.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>

#include "amplifier_words.hpp"
#include "hushtrace/job/percent_text.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kWay = 32, kGain = 9, kNoise = 15;  // columns of the table of splits

/// The tone that must bring the target, and at which volume: the ceiling's own where that is the one.
std::string confirming_tone(const AmplifierSetting& one, const std::optional<Ceiling>& ceiling) {
    constexpr double same_tone = 0.01, same_level_db = 0.05;
    const auto& hz = one.confirm_tone_hz ? one.confirm_tone_hz : one.tone_hz;
    const bool same_hz = !ceiling || !hz || std::abs(*hz / ceiling->tone_hz - 1.0) < same_tone;
    const bool as_played = !one.confirm_tone_dbfs || !one.tone_dbfs || std::abs(*one.confirm_tone_dbfs - *one.tone_dbfs) < same_level_db;
    const bool stated = !one.allowance_from.empty() && one.allowance_from != "tone";
    if (same_hz && (stated ? !one.confirm_tone_dbfs : as_played)) return "the ceiling's tone";
    return fmt::format("a tone of {}{:g} dBFS{}", same_hz ? "" : fmt::format("{:g} Hz at ", *hz), one.confirm_tone_dbfs.value_or(0.0),
                       one.volume ? fmt::format(" at volume {:g}", *one.volume) : " at the ceiling");
}

/// How to reach the target with a meter at the output.
std::string turn_until(const AmplifierSetting& one, const std::optional<Ceiling>& ceiling) {
    const std::string with = confirming_tone(one, ceiling);
    if (one.reached_output_v && one.gain_reached_db && *one.reached_output_v < 0.999 * *one.target_output_v)
        return fmt::format("turn its gain up to the end: its output then reads {} of the {} wanted with {}", volts_text(*one.reached_output_v),
                           volts_text(*one.target_output_v), with);
    return fmt::format("turn its gain up until its output reads {} with {}", volts_text(*one.target_output_v), with);
}

void tell_allowance(Lines& lines, const AmplifierSetting& one) {
    if (!one.full_scale || one.allowance_from == "tone") return;
    lines.add(allowance_text(one), 2);
}

void tell_setting(Lines& lines, const AmplifierSetting& one, const GainAnalysis& analysis) {
    if (one.sensitivity_v)
        lines.add(
            fmt::format(
                "sensitivity {}{}: at the ceiling its input gets {}", volts_text(*one.sensitivity_v),
                one.sensitivity_v_sd
                    ? " ±" + percent_text(200.0 * *one.sensitivity_v_sd / *one.sensitivity_v)
                    : "",
                one.input_v_at_ceiling ? volts_text(*one.input_v_at_ceiling) : "an unknown voltage"),
            2);
    if (one.target_output_v && !one.refused && analysis.ceiling_usable()) lines.add(turn_until(one, analysis.ceiling), 2);
    if (one.gain_db) lines.add(fmt::format("that is a gain of {:.1f} dB{}", *one.gain_db, spread_text(one.gain_sd_db.value_or(0))), 2);
    if (one.dial) lines.add(dial_text(one), 2);
    tell_allowance(lines, one);
}

void tell_splits(Lines& lines, const AmplifierSetting& one) {
    if (one.splits.empty()) return;
    lines.add(parts_text(*one.noise_parts), 2);
    lines.row(fmt::format("{}{}{}{}", padded("what gain costs in noise", kWay), padded("gain", kGain), padded("output, dBV", kNoise),
                          "change"),
              2);
    for (const GainSplit& split : one.splits)
        lines.row(fmt::format("{}{}{}{}", padded(split_name(split), kWay), padded(fmt::format("{:.1f} dB", *split.gain_db), kGain),
                              padded(range_text(split.noise_at_output_dbv, ""), kNoise), split.way == "as_set" ? "-" : change_words(split.change_db)),
                  2);
    lines.add(one.best_split, 2);
}

}  // namespace

void tell_amplifiers(Lines& lines, const GainAnalysis& analysis) {
    if (analysis.amplifiers.empty()) return;
    lines.title("Set the amplifiers");
    for (const AmplifierSetting& one : analysis.amplifiers) {
        lines.add(one.name.empty() ? "amplifier" : one.name);
        if (one.refused) lines.add(*one.refused, 2, "! ");
        tell_setting(lines, one, analysis);
        for (const OutputReading& reading : one.output_readings) lines.add(reading.text, 2, "> ");
        if (one.noise_at_output_dbv)
            lines.add("its output noise will be " + level_text(std::nullopt, one.noise_at_output_dbv) +
                          spread_text(one.noise_sd_db.value_or(0)) + limit_text(one.noise_limited_by),
                      2);
        if (one.noise_at_ear_db_spl)
            lines.add(fmt::format("at the ear about {:.0f} dB SPL", *one.noise_at_ear_db_spl), 2);
        tell_splits(lines, one);
        for (const std::string& note : one.notes) lines.add(note, 2, "! ");
    }
}

}  // namespace hushtrace
