#include <fmt/format.h>

#include "chain_system_words.hpp"
#include "chain_words.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

std::string level_cell(const ChainChannel& one) {
    if (!one.gain_db) return "not measured";
    std::string text = level_of(one.gain_db) + " round " + frequency_text(one.gain_hz);
    if (one.level_dbv) text += ", " + level_text(std::nullopt, one.level_dbv->value) + spread_text(one.level_dbv->sd);
    return text;
}

std::string delay_cell(const std::optional<Reading>& delay) {
    return delay ? with_sd(delay->value, delay->sd, "ms") : "not measured";
}

std::string channel_table(const ChainAnalysis& analysis) {
    if (analysis.channels.empty()) return "";
    std::string rows;
    for (const ChainChannel& one : analysis.channels) {
        const bool first = &one == &analysis.channels.front();
        rows += fmt::format("<tr><th scope=\"row\">{}</th>", isolated(spaced(to_word(one.channel))));
        if (one.silent) {
            rows += "<td colspan=\"6\" data-label=\"level\">nothing of the tone came in</td></tr>\n";
            continue;
        }
        rows += cell(level_cell(one), "level");
        rows += cell(first ? "reference" : level_of(one.balance_db), "against the first");
        rows += cell(one.polarity, "polarity");
        rows += cell(first ? "reference" : delay_cell(one.delay_ms), "later by");
        rows += cell(thd_of(one), "THD");
        rows += cell(one.crosstalk_db ? level_of(one.crosstalk_db) : "not measured", "crosstalk at 1 kHz");
        rows += "</tr>\n";
    }
    return table({"channel", "level", "against the first", "polarity", "later by", "THD", "crosstalk at 1 kHz"}, rows,
                 "What the path does to each channel; level is captured against played");
}

/// What the source does to each channel and to all of them, in sentences.
std::string system_list(const ChainAnalysis& analysis) {
    std::string items;
    const auto add = [&](const std::string& text) { items += "<li>" + isolated(text) + "</li>\n"; };
    for (const ChainChannel& one : analysis.channels) {
        const std::string name(spaced(to_word(one.channel)));
        if (one.shape) add(name + ": " + shape_text(*one.shape) + (one.volume ? fmt::format(" (volume {:g})", *one.volume) : ""));
        if (const std::string turned = all_pass_text(one); !turned.empty()) add(name + ": " + turned);
        if (const std::string hears = hears_text(one); !hears.empty()) add(name + " " + hears);
    }
    for (const std::string& one : system_sentences(analysis)) add(one);
    return items.empty() ? "" : "<ul>\n" + items + "</ul>\n";
}

std::string distortion_table(const ChainAnalysis& analysis) {
    if (!has_distortion_table(analysis)) return "";
    const std::string at_ceiling = ceiling_text(analysis);
    std::string rows;
    for (const ChainChannel& one : analysis.channels) {
        if (one.silent) continue;
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}</tr>\n", isolated(spaced(to_word(one.channel))),
                            cell(thd_of(one.minus_20), "THD near -20 dBFS"), cell(thd_of(one.at_ceiling), at_ceiling.c_str()),
                            cell(noise_of(one.noise ? &*one.noise : nullptr), "noise, A-weighted"));
    }
    return table({"channel", "THD near -20 dBFS", at_ceiling.c_str(), "noise, A-weighted"}, rows, "Distortion and noise of each channel");
}

std::string limits_table(const std::vector<LimitLine>& limits) {
    if (limits.empty()) return "";
    std::string rows;
    for (const LimitLine& one : limits)
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}</tr>\n", isolated(limit_name(one)), cell(limit_found(one), "found"),
                            cell(limit_asked(one), "asked"), cell(spaced(one.verdict), "verdict"));
    return table({"what", "found", "asked", "verdict"}, rows, "Against the limits; only those written in job.json can fail the job");
}

std::string intermodulation_table(const ChainAnalysis& analysis) {
    if (analysis.intermodulation.empty()) return "";
    std::string rows;
    for (const ChainIntermodulation& one : analysis.intermodulation) {
        const Intermodulation& read = one.reading;
        const bool modulation = one.method == TwoToneMethod::modulation;
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}{}</tr>\n", isolated(spaced(to_word(one.channel))),
                            cell(fmt::format("{} at {}, {} at {}", frequency_text(read.low.frequency_hz),
                                             level_of_tone(one, read.low), frequency_text(read.high.frequency_hz),
                                             level_of_tone(one, read.high)),
                                 "tones"),
                            cell(modulation ? "modulation, against the high tone" : "difference frequency, against both", "method"),
                            cell(ratio_text(read.total_ratio), "in all"),
                            cell(ratio_text(read.second_order_ratio), "second order"),
                            cell(ratio_text(read.third_order_ratio), "third order"));
    }
    return table({"channel", "tones", "method", "in all", "second order", "third order"}, rows, "Intermodulation");
}

}  // namespace

std::string chain(const ChainAnalysis& analysis) {
    std::string out = "<section>\n<h2>The path</h2>\n" + channel_table(analysis) + system_list(analysis) +
                      limits_table(analysis.limits) + distortion_table(analysis);
    if (has_response(analysis)) {
        const std::string title = "Response";
        const std::string caption =
            "<b>" + title + ".</b> Each channel against its level in the table; what lies in the noise is left out.";
        out += figure(response_svg(analysis, PictureSize::wide, "resp-w", title),
                      response_svg(analysis, PictureSize::narrow, "resp-n", title), caption);
    }
    return out + intermodulation_table(analysis) + "</section>\n";
}

}  // namespace hushtrace::page
