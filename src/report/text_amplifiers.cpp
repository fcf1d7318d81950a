#include "text_amplifiers.hpp"

#include <fmt/format.h>

#include "hushtrace/report/wording.hpp"

namespace hushtrace {

void tell_amplifiers(Lines& lines, const GainAnalysis& analysis) {
    if (analysis.amplifiers.empty()) return;
    lines.title("Set the amplifiers");
    for (const AmplifierSetting& one : analysis.amplifiers) {
        lines.add(one.name.empty() ? "amplifier" : one.name);
        if (one.sensitivity_v)
            lines.add(
                fmt::format(
                    "sensitivity {}{}: at the ceiling its input gets {}", volts_text(*one.sensitivity_v),
                    one.sensitivity_v_sd
                        ? fmt::format(" ±{:.2g} %", 200.0 * *one.sensitivity_v_sd / *one.sensitivity_v)
                        : "",
                    one.input_v_at_ceiling ? volts_text(*one.input_v_at_ceiling) : "an unknown voltage"),
                2);
        if (one.target_output_v)
            lines.add(fmt::format("turn its gain up until its output reads {} with the ceiling's tone",
                                  volts_text(*one.target_output_v)),
                      2);
        if (one.gain_db) lines.add(fmt::format("that is a gain of {:.1f} dB{}", *one.gain_db, spread_text(one.gain_sd_db.value_or(0))), 2);
        if (one.noise_at_output_dbv)
            lines.add("its output noise will be " + level_text(std::nullopt, one.noise_at_output_dbv) +
                          spread_text(one.noise_sd_db.value_or(0)) + limit_text(one.noise_limited_by),
                      2);
        if (one.noise_at_ear_db_spl)
            lines.add(fmt::format("at the ear about {:.0f} dB SPL", *one.noise_at_ear_db_spl), 2);
        for (const std::string& note : one.notes) lines.add(note, 2, "! ");
    }
}

}  // namespace hushtrace
