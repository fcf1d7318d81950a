#include <fmt/format.h>

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

}  // namespace

std::string amplifier_table(const GainAnalysis& analysis) {
    if (analysis.amplifiers.empty()) return "";
    std::string rows, notes;
    for (const AmplifierSetting& one : analysis.amplifiers) {
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}{}</tr>\n", escaped(one.name),
                            cell(volts_or_unknown(one.sensitivity_v), "sensitivity"),
                            cell(volts_or_unknown(one.input_v_at_ceiling), "input at the ceiling"),
                            cell(volts_or_unknown(one.target_output_v), "target output"),
                            cell(one.gain_db ? fmt::format("{:.1f} dB", *one.gain_db) : "not known", "gain"),
                            cell(output_noise(one), "noise at its output"));
        for (const std::string& note : one.notes)
            notes += fmt::format("<li>{}: {}</li>\n", escaped(one.name), escaped(note));
    }
    if (!notes.empty()) notes = "<ul class=\"notes\">\n" + notes + "</ul>\n";
    return table({"amplifier", "sensitivity", "input at the ceiling", "target output", "gain",
                  "noise at its output"},
                 rows,
                 "Amplifiers: with the source at its ceiling, turn the gain up until the output reads the "
                 "target") +
           notes;
}

}  // namespace hushtrace::page
