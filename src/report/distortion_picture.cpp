#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostCurves = 8;  // four shapes, filled and hollow

bool volumes_known(const GainAnalysis& analysis) {
    for (const StepCurve& curve : analysis.curves)
        for (const VolumeStep& step : curve.steps)
            if (!step.volume) return false;
    return true;
}

double place_of(const VolumeStep& step, bool by_volume) {
    return by_volume ? *step.volume : static_cast<double>(step.number);
}

}  // namespace

bool has_distortion(const GainAnalysis& analysis) {
    return std::any_of(analysis.curves.begin(), analysis.curves.end(),
                       [](const StepCurve& curve) { return curve.steps.size() >= 2; });
}

std::string distortion_svg(const GainAnalysis& analysis, PictureSize size, const std::string& id,
                           const std::string& title) {
    const bool wide = size == PictureSize::wide, by_volume = volumes_known(analysis);
    const std::size_t curves = std::min(analysis.curves.size(), kMostCurves);
    double low = 1e300, high = -1e300, least = 0.1, most = std::max(10.0, 3 * analysis.limit_thd_percent);
    for (std::size_t i = 0; i < curves; ++i)
        for (const VolumeStep& step : analysis.curves[i].steps) {
            low = std::min(low, place_of(step, by_volume)), high = std::max(high, place_of(step, by_volume));
            if (std::isfinite(step.thd_percent) && step.thd_percent > 0) {
                least = std::min(least, step.thd_percent), most = std::max(most, step.thd_percent);
            }
        }
    if (high - low < 1) high = low + 1;
    const double margin = 0.04 * (high - low);
    const double key_px = 20.0 * static_cast<double>(curves) + 8;
    const svg::Frame frame = wide ? svg::Frame{900, 340 + key_px, 62, 882, 10 + key_px, 292 + key_px, 13}
                                  : svg::Frame{372, 290 + key_px, 50, 356, 8 + key_px, 244 + key_px, 12};
    const Scale x{low - margin, high + margin, frame.left, frame.right, false};
    const Scale y{std::pow(10.0, std::floor(std::log10(std::max(least, 1e-3)))),
                  std::pow(10.0, std::ceil(std::log10(most))), frame.bottom, frame.top, true};

    std::string out = svg::open(frame, id, title, analysis.ceiling_text);
    const double limit_y = y.at(analysis.limit_thd_percent);
    out +=
        fmt::format("<rect class=\"beyond\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>",
                    frame.left, frame.top, frame.right - frame.left, limit_y - frame.top);
    std::vector<Tick> ticks = even_ticks(low, high, wide ? 16 : 7);
    ticks.erase(std::remove_if(ticks.begin(), ticks.end(),
                               [](const Tick& one) { return one.value != std::round(one.value); }),
                ticks.end());
    out += svg::x_axis(frame, x, ticks, by_volume ? "volume of the source" : "step");
    out += svg::y_axis(frame, y, decade_ticks(y.from, y.to), "THD, %");
    out += svg::line(frame.left, limit_y, frame.right, limit_y, "limit");
    out += svg::text(frame.left + 6, limit_y - 5, "start",
                     fmt::format("limit {} %", figures_text(analysis.limit_thd_percent, 2)), "label");
    if (analysis.ceiling) {
        const bool named = by_volume && analysis.ceiling->volume;
        const double place = named ? *analysis.ceiling->volume : static_cast<double>(analysis.ceiling->step);
        if (named || !by_volume) {
            const double ceiling_x = x.at(place);
            const bool left_half = ceiling_x < (frame.left + frame.right) / 2;
            out += svg::line(ceiling_x, frame.top, ceiling_x, frame.bottom, "ceiling");
            out += svg::text(left_half ? ceiling_x + 6 : ceiling_x - 6, frame.top + frame.font + 2,
                             left_half ? "start" : "end",
                             fmt::format("ceiling: {} {:g}", named ? "volume" : "step", place), "label");
        }
    }
    out += "\n";
    for (std::size_t i = 0; i < curves; ++i) {
        const StepCurve& curve = analysis.curves[i];
        const char* mark = i % 2 == 0 ? "mark" : "mark hollow";
        std::vector<std::pair<double, double>> points;
        for (const VolumeStep& step : curve.steps) {
            const double thd = std::isfinite(step.thd_percent) ? std::max(step.thd_percent, y.from) : y.to;
            points.emplace_back(x.at(place_of(step, by_volume)), y.at(thd));
        }
        out += svg::trace(points, i % 2 == 0 ? "trace" : "trace second");
        for (const auto& point : points) out += svg::shape(i, point.first, point.second, 4.5, mark);
        const double key_y = 14 + 20.0 * static_cast<double>(i);
        out += svg::shape(i, frame.left + 6, key_y - 4, 4.5, mark);
        out +=
            svg::text(frame.left + 18, key_y, "start",
                      fmt::format("{}, {}{}", spaced(to_word(curve.channel)), frequency_text(curve.tone_hz),
                                  wide ? ", " + clean_text(curve.take) : ""),
                      "words");
        out += "\n";
    }
    return out + svg::close();
}

}  // namespace hushtrace
