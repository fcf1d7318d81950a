#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/report/wording.hpp"
#include "lines.hpp"
#include "text_amplifiers.hpp"
#include "volume_words.hpp"

namespace hushtrace {
namespace {

std::string volume_text(std::optional<double> volume, std::size_t step) {
    return volume ? fmt::format("volume {:g}", *volume) : fmt::format("step {}", step);
}

void tell_curve(Lines& lines, const StepCurve& curve) {
    lines.add(fmt::format("{}, {}, tone {}", curve.take, spaced(to_word(curve.channel)),
                          frequency_text(curve.tone_hz)));
    for (const VolumeStep& one : curve.steps) {
        const std::string level =
            one.level_v ? volts_text(*one.level_v) : fmt::format("{:.1f} dBFS", one.level_dbfs);
        std::string remark = lag_text(one);
        if (one.input_overload) remark = "interface overloaded";
        if (curve.ceiling && curve.ceiling->step == one.number) remark = "<- ceiling";
        std::string row = fmt::format("{}{}THD {} THD+N {}", padded(volume_text(one.volume, one.number), 12), padded(level, 12),
                                      padded(distortion_text(one.thd_percent, one.thd_sd_percent, one.thd_limited_by), 15),
                                      padded(distortion_text(one.thd_noise_percent), 9));
        row += remark.empty() ? "" : " " + remark;
        while (row.back() == ' ') row.pop_back();
        lines.row(row, 2);
    }
    if (const std::string knee = knee_text(curve); !knee.empty()) lines.add(knee, 2);
    if (const std::string counted = harmonics_text(curve); !counted.empty()) lines.add(counted, 2);
    if (!curve.ceiling_reason.empty()) lines.add("no ceiling: " + spaced(curve.ceiling_reason), 2);
}

}  // namespace

std::string gain_text(const OpenedJob& opened, const GainAnalysis& analysis) {
    Lines lines;
    lines.title(fmt::format("Gain: {}", opened.job.title.empty() ? "untitled job" : opened.job.title));
    lines.add(analysis.ceiling_text);
    lines.add(
        fmt::format("Limit: {} % THD{}.", figures_text(analysis.limit_thd_percent, 2),
                    opened.job.limits.ceiling_thd_percent ? ", written in job.json" : " (the usual one)"));
    if (fails_limit(opened.job, analysis))
        lines.add("FAILS the limit: distorted at every volume that was played.");
    tell_amplifiers(lines, analysis);
    if (const auto sentences = volume_sentences(analysis); !sentences.empty()) {
        lines.title("The volume control");
        for (const std::string& one : sentences) lines.add(one);
    }
    if (!analysis.curves.empty()) lines.title("Distortion against volume");
    for (const StepCurve& curve : analysis.curves) tell_curve(lines, curve);
    const bool uncalibrated = std::any_of(
        analysis.curves.begin(), analysis.curves.end(),
        [](const StepCurve& curve) { return !curve.steps.empty() && !curve.steps.front().level_v; });
    if (uncalibrated) {
        lines.gap();
        lines.add(
            "Not calibrated: the ceiling's volume, levels in dBFS, THD, the volume's steps and the balance hold; volts, sensitivities "
            "and gains need hushtrace calibrate, with a known voltage on a meter.");
    }
    tell_warnings(lines, all_warnings(opened.warnings, analysis.warnings));
    return lines.text();
}

}  // namespace hushtrace
