#include <fmt/format.h>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"
#include "volume_words.hpp"

namespace hushtrace::page {
namespace {

std::string ceiling_table(const GainAnalysis& analysis) {
    std::string rows;
    for (const StepCurve& curve : analysis.curves) {
        rows += fmt::format("<tr><th scope=\"row\">{}, {}</th>", spaced(to_word(curve.channel)),
                            frequency_text(curve.tone_hz));
        if (curve.ceiling) {
            const Ceiling& top = *curve.ceiling;
            rows +=
                cell(top.volume ? fmt::format("volume {:g}", *top.volume) : fmt::format("step {}", top.step),
                     "ceiling");
            rows += cell(top.level_v ? volts_text(*top.level_v) : fmt::format("{:.1f} dBFS", top.level_dbfs),
                         "level");
            rows += cell(distortion_text(top.thd_percent, top.thd_sd_percent, top.thd_limited_by), "THD there");
            rows += cell(
                top.next_volume_thd_percent ? distortion_text(*top.next_volume_thd_percent) : "not played",
                "THD at the next volume");
            rows += cell(curve.knee ? knee_text(curve) : "not told", "how it clips");
        } else {
            rows += fmt::format("<td colspan=\"5\" data-label=\"ceiling\">none: {}</td>",
                                isolated(spaced(curve.ceiling_reason)));
        }
        rows += "</tr>\n";
    }
    if (rows.empty()) return "";
    return table({"channel, tone", "ceiling", "level", "THD there", "THD at the next volume", "how it clips"}, rows,
                 "The source's ceiling, by channel and tone");
}

}  // namespace

std::string gain(const OpenedJob& opened, const GainAnalysis& analysis) {
    std::string out =
        fmt::format("<section>\n<h2>Gain and ceiling</h2>\n<p class=\"lead\">{}</p>\n", isolated(analysis.ceiling_text));
    if (fails_limit(opened.job, analysis))
        out +=
            "<p class=\"fail\">Fails the limit written in the job: distorted at every volume that was "
            "played.</p>\n";
    out +=
        fmt::format("<p class=\"soft\">Limit: {} % THD{}.</p>\n", figures_text(analysis.limit_thd_percent, 2),
                    opened.job.limits.ceiling_thd_percent ? ", written in the job" : ", the usual one");
    out += amplifier_table(analysis) + ceiling_table(analysis);
    for (const std::string& one : volume_sentences(analysis)) out += "<p class=\"soft\">" + isolated(one) + "</p>\n";
    if (has_distortion(analysis)) {
        const std::string title = "Distortion against volume";
        std::string caption =
            "<b>" + title + ".</b> Clean below the dotted limit; the ceiling is the last clean volume.";
        if (analysis.curves.size() > 8)
            caption += fmt::format(" The first 8 of {} curves; the others are in the data file.",
                                   analysis.curves.size());
        out += figure(distortion_svg(analysis, PictureSize::wide, "thd-w", title),
                      distortion_svg(analysis, PictureSize::narrow, "thd-n", title), caption);
    }
    return out + "</section>\n";
}

}  // namespace hushtrace::page
