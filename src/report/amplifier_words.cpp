#include "amplifier_words.hpp"

#include <fmt/format.h>

#include <cctype>
#include <cmath>

#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

constexpr double kOneFigure_db = 0.3;  // ends that lie closer are told as one figure

std::string law_words(DialLaw law) {
    if (law == DialLaw::linear) return "equal turns add equal gain";
    return law == DialLaw::linear_volts ? "its volts are spaced evenly" : "equal turns are equal decibels";
}

/// "half past 9", on a clock's face, to the half hour.
std::string clock_words(double hours) {
    const int halves = static_cast<int>(std::lround(2.0 * hours)) % 24;
    const int hour = halves / 2 == 0 ? 12 : halves / 2;
    return halves % 2 == 0 ? fmt::format("{} o'clock", hour) : fmt::format("half past {}", hour);
}

}  // namespace

std::string dial_text(const AmplifierSetting& one) {
    const DialPlace& at = *one.dial;
    std::string text = fmt::format("on its dial: {} ({:.0f} % of the way from the least gain, about {}",
                                   volts_text(*(one.dial_sensitivity_v ? one.dial_sensitivity_v : one.sensitivity_v)), 100.0 * at.travel,
                                   clock_words(at.clock_hours));
    if (at.mark) text += fmt::format(", at {:.1f} of its numbers", *at.mark);
    text += at.law_assumed ? ") if " : "), as ";
    text += law_words(at.law);
    if (at.turn_assumed) text += fmt::format("{} it turns {:g} degrees", at.law_assumed ? " and" : ", if", at.turn_deg);
    return text + ". A first guess: the voltage at its output decides";
}

std::string allowance_text(const AmplifierSetting& one) {
    const FullScalePassage& passage = *one.full_scale;
    std::string text = fmt::format(
        "allowance of {:g} dB for recordings that stay below full scale{}: the gain stands that much higher. A passage at full scale then asks "
        "for {:.0f} W",
        one.allowance_db, one.allowance_from == "option" ? " (from --allowance; write it into the job to keep it)" : "", passage.power_asked_w);
    if (passage.over_rails_db > 0)
        return text + fmt::format(", {:.1f} dB over the rated output: a sine is cut off to {:.0f} % THD and {:.0f} W", passage.over_rails_db,
                                  passage.thd_percent, passage.power_out_w);
    return text + ", which the amplifier still has";
}

std::string parts_text(const NoiseParts& parts) {
    std::string text = fmt::format("noise at its input {:.1f} dBV{}", parts.total_dbv, limit_text(parts.limited_by));
    if (parts.volume) text += fmt::format(", the source at volume {:g}", *parts.volume);
    const bool nothing_told =
        !std::isfinite(parts.before_volume.low) && !std::isfinite(parts.lead.low) && parts.before_volume.high == parts.lead.high;
    if (nothing_told && parts.limited_by != LimitedBy::interface) {
        text += parts.amplifier_dbv ? fmt::format(", of the source or the lead; the amplifier's own {:.1f} dBV", *parts.amplifier_dbv)
                                    : ", of the source or the lead; the amplifier's own isn't known";
    } else if (parts.limited_by != LimitedBy::interface) {
        text += fmt::format(": of the source ahead of its volume control {}, behind it {}, of the lead {}", range_text(parts.before_volume, "dBV"),
                            range_text(parts.after_volume, "dBV"), range_text(parts.lead, "dBV"));
        text += parts.amplifier_dbv ? fmt::format("; the amplifier's own {:.1f} dBV", *parts.amplifier_dbv) : "; the amplifier's own isn't known";
    }
    text += ".";
    for (const std::string& note : parts.notes)
        text += fmt::format(" {}{}.", static_cast<char>(std::toupper(static_cast<unsigned char>(note.front()))), note.substr(1));
    return text;
}

std::string split_name(const GainSplit& split) {
    if (split.way == "lower_volume") return fmt::format("gain set for volume {:g}", *split.volume);
    if (split.way == "line_driver") return fmt::format("driver of {:g} dB at the source", split.source_change_db);
    if (split.way == "more_source") return fmt::format("a source with {:g} dB more output", split.source_change_db);
    if (split.way == "less_gain") return "3 dB less gain, half the power";
    if (split.way == "as_found")
        return fmt::format("as found, {:.1f} dB {} gain", std::abs(split.gain_change_db), split.gain_change_db > 0 ? "more" : "less");
    return split.volume ? fmt::format("as set: source at volume {:g}", *split.volume) : "as set";
}

std::string range_text(const Range_db& range, const std::string& unit_word) {
    const std::string unit = unit_word.empty() ? "" : " " + unit_word;
    if (!std::isfinite(range.high)) return "none";
    if (!std::isfinite(range.low) || range.high - range.low > 30.0) return fmt::format("below {:.1f}{}", range.high, unit);
    if (range.high - range.low < kOneFigure_db) return fmt::format("{:.1f}{}", 0.5 * (range.low + range.high), unit);
    return fmt::format("{:.1f} to {:.1f}{}", range.low, range.high, unit);
}

}  // namespace hushtrace
