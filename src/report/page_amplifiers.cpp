#include <fmt/format.h>

#include "amplifier_words.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

std::string volts_or_unknown(std::optional<double> volts) {
    return volts ? volts_text(*volts) : "not known";
}

std::string output_noise(const AmplifierSetting& one) {
    if (!one.noise_at_output_dbv) return "not known";
    std::string text = short_level_text(std::nullopt, one.noise_at_output_dbv);
    if (one.noise_at_ear_db_spl) text += fmt::format(", {:.0f} dB SPL at the ear", *one.noise_at_ear_db_spl);
    return text;
}

/// What stands below the table of settings, of one amplifier.
std::string remarks(const AmplifierSetting& one) {
    std::string items;
    const auto add = [&](const std::string& text) { items += fmt::format("<li>{}: {}</li>\n", isolated(shortened(one.name, 80)), isolated(text)); };
    if (one.refused) add(*one.refused);
    if (one.dial) add(dial_text(one));
    if (one.full_scale && one.allowance_from != "tone") add(allowance_text(one));
    for (const OutputReading& reading : one.output_readings) add(reading.text);
    for (const std::string& note : one.notes) add(note);
    return items;
}

std::string split_table(const AmplifierSetting& one) {
    if (one.splits.empty()) return "";
    std::string rows;
    for (const GainSplit& split : one.splits)
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}</tr>\n", isolated(split_name(split)),
                            cell(fmt::format("{:.1f} dB", *split.gain_db), "gain"),
                            cell(range_text(split.noise_at_output_dbv, "dBV"), "noise at the output"),
                            cell(split.noise_at_ear_db_spl ? range_text(*split.noise_at_ear_db_spl, "dB SPL") : "not known", "at the ear"),
                            cell(split.way == "as_set" ? "-" : change_words(split.change_db), "change"));
    return table({"way", "gain", "noise at the output", "at the ear", "change"}, rows,
                 fmt::format("{}: what gain costs in noise, the music paused", one.name.empty() ? "amplifier" : shortened(one.name, 80))) +
           fmt::format("<p class=\"soft\">{} {}</p>\n", isolated(parts_text(*one.noise_parts)), isolated(one.best_split));
}

}  // namespace

std::string amplifier_table(const GainAnalysis& analysis) {
    if (analysis.amplifiers.empty()) return "";
    std::string rows, notes, splits;
    for (const AmplifierSetting& one : analysis.amplifiers) {
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}{}</tr>\n", isolated(shortened(one.name, 80)),
                            cell(volts_or_unknown(one.sensitivity_v), "sensitivity"),
                            cell(volts_or_unknown(one.input_v_at_ceiling), "input at the ceiling"),
                            cell(volts_or_unknown(one.target_output_v), "target output"),
                            cell(one.gain_db ? fmt::format("{:.1f} dB", *one.gain_db) : "not known", "gain"),
                            cell(output_noise(one), "noise at its output"));
        notes += remarks(one);
        splits += split_table(one);
    }
    if (!notes.empty()) notes = "<ul class=\"notes\">\n" + notes + "</ul>\n";
    return table({"amplifier", "sensitivity", "input at the ceiling", "target output", "gain",
                  "noise at its output"},
                 rows,
                 analysis.ceiling_usable()
                     ? "Amplifiers: with the source at its ceiling, turn the gain up until the output reads the target"
                     : "Amplifiers: without a ceiling no gain can be set; the target holds once there is one") +
           notes + splits;
}

}  // namespace hushtrace::page
