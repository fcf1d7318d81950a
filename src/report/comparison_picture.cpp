#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/comparison.hpp"
#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

using Kind = ComparedCurve::Kind;
constexpr double kKey_px = 48;

struct Span {
    double low = 1e300, high = -1e300;
    void take(double value) {
        if (!std::isfinite(value)) return;
        low = std::min(low, value);
        high = std::max(high, value);
    }
};

double shown(const ComparedFigure& figure, Kind kind) { return kind == Kind::distortion ? std::max(figure.value, 1e-3) : figure.value; }

Scale y_scale(const ComparedCurve& curve, const svg::Frame& frame) {
    Span span;
    for (const ComparedPoint& point : curve.points)
        for (const auto* side : {&point.before, &point.after})
            if (*side) span.take(shown(**side, curve.kind));
    if (span.high < span.low) span = {0, 1};
    if (curve.kind == Kind::distortion)
        return {std::pow(10.0, std::floor(std::log10(span.low))),
                std::pow(10.0, std::max(std::ceil(std::log10(span.high)), std::floor(std::log10(span.low)) + 1)), frame.bottom, frame.top, true};
    const double step = curve.kind == Kind::floor ? 10 : 5;
    const double low = step * std::floor((span.low - 1) / step), high = step * std::ceil((span.high + 1) / step);
    return {low, std::max(high, low + 2 * step), frame.bottom, frame.top, false};
}

/// One side of an overlay, from the points that have it.
std::string side_trace(const ComparedCurve& curve, const Scale& x, const Scale& y, std::optional<ComparedFigure> ComparedPoint::*side,
                       const char* css) {
    std::vector<std::pair<double, double>> points;
    for (const ComparedPoint& point : curve.points) {
        if (!(point.*side)) continue;
        const double level = y.at(shown(*(point.*side), curve.kind));
        if (curve.kind != Kind::floor) {
            points.emplace_back(x.at(point.x), level);
            continue;
        }
        // a band has a width: its level is a step
        points.emplace_back(x.at(point.x * std::pow(10.0, -0.05)), level);
        points.emplace_back(x.at(point.x * std::pow(10.0, 0.05)), level);
    }
    return svg::trace(points, css);
}

std::string error_bar(double at_px, const ComparedFigure& figure, const Scale& y, Kind kind, double aside_px) {
    if (kind == Kind::distortion) return "";
    const double low = y.at(figure.value - 2 * figure.sd), high = y.at(figure.value + 2 * figure.sd);
    return std::abs(low - high) < 4 ? "" : svg::line(at_px + aside_px, low, at_px + aside_px, high, "error");
}

}  // namespace

std::string curve_svg(const ComparedCurve& curve, PictureSize size, const std::string& id) {
    const bool wide = size == PictureSize::wide;
    const svg::Frame frame = wide ? svg::Frame{900, 340 + kKey_px, 62, 882, 10 + kKey_px, 292 + kKey_px, 13}
                                  : svg::Frame{372, 290 + kKey_px, 50, 356, 8 + kKey_px, 244 + kKey_px, 12};
    Span across;
    for (const ComparedPoint& point : curve.points) across.take(point.x);
    if (across.high < across.low) across = {20, 20000};
    const bool volume = curve.kind == Kind::distortion;
    const double margin = volume ? std::max(0.5, 0.04 * (across.high - across.low)) : 0;
    const Scale x = volume ? Scale{across.low - margin, across.high + margin, frame.left, frame.right, false}
                           : Scale{across.low / 1.122, std::max(across.high * 1.122, across.low + 20), frame.left, frame.right, true};
    const Scale y = y_scale(curve, frame);
    std::string out = svg::open(frame, id, curve.title, "Then dashed, now solid. " + curve.text);
    std::vector<Tick> ticks = volume ? even_ticks(across.low, across.high + 1e-9, wide ? 16 : 7) : frequency_ticks(x.from, x.to);
    if (volume)
        ticks.erase(std::remove_if(ticks.begin(), ticks.end(), [](const Tick& one) { return one.value != std::round(one.value); }), ticks.end());
    out += svg::x_axis(frame, x, thinned(ticks, x, 2.6 * frame.font), volume ? "volume of the source" : "frequency, Hz");
    out += svg::y_axis(frame, y, volume ? decade_ticks(y.from, y.to) : even_ticks(y.from, y.to, wide ? 11 : 8), volume ? "THD, %" : curve.unit);
    out += side_trace(curve, x, y, &ComparedPoint::after, "trace") + side_trace(curve, x, y, &ComparedPoint::before, "trace second");
    bool any = false;
    for (const ComparedPoint& point : curve.points) {
        if (!point.changed || !point.before || !point.after) continue;
        any = true;
        const double at = x.at(point.x), old = y.at(shown(*point.before, curve.kind)), now = y.at(shown(*point.after, curve.kind));
        out += svg::line(at, old, at, now, "fall");
        out += error_bar(at, *point.before, y, curve.kind, -2) + error_bar(at, *point.after, y, curve.kind, 2);
        out += svg::shape(0, at, old, 4.2, "mark was") + svg::shape(2, at, now, 4.5, "mark");
    }
    const double half = frame.left + (wide ? 150 : 110), row = 14;
    out += svg::line(frame.left, row - 4, frame.left + 26, row - 4, "trace second") + svg::text(frame.left + 32, row, "start", "then", "words");
    out += svg::line(half, row - 4, half + 26, row - 4, "trace") + svg::text(half + 32, row, "start", "now", "words");
    if (any) {
        out += svg::shape(0, frame.left + 6, row + 16, 4.2, "mark was") + svg::shape(2, frame.left + 20, row + 16, 4.5, "mark");
        out += svg::text(frame.left + 32, row + 20, "start",
                         wide ? "changed beyond what repeats: circle then, triangle now" : "changed: circle then, triangle now", "words");
    }
    return out + "\n" + svg::close();
}

namespace {

constexpr std::size_t kMostBars = 8;

/// Of each noise source the loudest of its items that has both figures; one that tells before one that can't.
std::vector<const ComparedItem*> bars_of(const Comparison& comparison) {
    std::vector<const ComparedItem*> out;
    const auto loudness = [](const ComparedItem& one) { return std::max(one.before->value, one.after->value); };
    const auto tells = [](const ComparedItem& one) { return one.verdict != ChangeVerdict::not_comparable; };
    for (const ComparedItem& item : comparison.items) {
        if (item.area != "noise" || !item.before || !item.after) continue;
        const auto at = std::find_if(out.begin(), out.end(), [&](const ComparedItem* one) { return one->what == item.what; });
        if (at == out.end())
            out.push_back(&item);
        else if (tells(item) != tells(**at) ? tells(item) : loudness(item) > loudness(**at))
            *at = &item;
    }
    // one axis has one unit
    if (!out.empty()) {
        const std::string unit = out.front()->unit;
        std::erase_if(out, [&](const ComparedItem* one) { return one->unit != unit; });
    }
    std::stable_sort(out.begin(), out.end(), [&](const ComparedItem* a, const ComparedItem* b) { return loudness(*a) > loudness(*b); });
    if (out.size() > kMostBars) out.resize(kMostBars);
    return out;
}

std::string bar(const svg::Frame& frame, const Scale& x, double top, const ComparedFigure& figure, const char* css, const std::string& word,
                const std::string& unit) {
    const double end = x.at(figure.value), height = 13;
    std::string out;
    if (figure.at_most)
        out += fmt::format("<rect class=\"strand gone\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" stroke-dasharray=\"4 3\"/>",
                           frame.left, top, std::max(1.0, end - frame.left), height);
    else
        out += fmt::format("<rect class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>", css, frame.left, top,
                           std::max(1.0, end - frame.left), height);
    double text_at = end;
    if (!figure.at_most && figure.sd > 0) {
        const double low = x.at(figure.value - 2 * figure.sd), high = x.at(figure.value + 2 * figure.sd), middle = top + height / 2;
        if (high - low > 3) {
            out += svg::line(low, middle, high, middle, "error") + svg::line(low, middle - 3, low, middle + 3, "error") +
                   svg::line(high, middle - 3, high, middle + 3, "error");
            text_at = high;
        }
    }
    const std::string words = fmt::format("{} {}{:.0f} {}", word, figure.at_most ? "≤ " : "", figure.value, unit);
    return out + svg::text(text_at + 6, top + height - 2, "start", words, "tick");
}

/// Text cut to what a row has room for.
std::string cut(const std::string& text, double room_px, double font_px) {
    const std::vector<std::string> lines = wrap_text(text, static_cast<std::size_t>(std::max(8.0, room_px / text_width_px(1, font_px))));
    return lines.empty() ? "" : lines.size() == 1 ? lines[0] : lines[0] + " …";
}

}  // namespace

bool has_noise_bars(const Comparison& comparison) { return !bars_of(comparison).empty(); }

std::string noise_bars_svg(const Comparison& comparison, PictureSize size, const std::string& id, const std::string& title) {
    const bool wide = size == PictureSize::wide;
    const std::vector<const ComparedItem*> items = bars_of(comparison);
    const double row = 60, height = row * static_cast<double>(items.size());
    const svg::Frame frame =
        wide ? svg::Frame{900, height + 52, 20, 760, 8, height + 4, 13} : svg::Frame{372, height + 50, 12, 250, 6, height + 2, 12};
    Span span;
    for (const ComparedItem* one : items) {
        span.take(one->before->value);
        span.take(one->after->value);
    }
    const double low = 10 * std::floor((span.low - 8) / 10), high = 10 * std::ceil((span.high + 1) / 10);
    const Scale x{low, std::max(high, low + 20), frame.left, frame.right, false};
    std::string told;
    for (const ComparedItem* one : items) told += (told.empty() ? "" : " ") + one->text;
    std::string out = svg::open(frame, id, title, told);
    const std::string unit = items.empty() ? "" : items.front()->unit;
    out += svg::x_axis(frame, x, thinned(even_ticks(x.from, x.to, wide ? 12 : 6), x, 40), unit);
    for (std::size_t i = 0; i < items.size(); ++i) {
        const ComparedItem& one = *items[i];
        const double top = frame.top + row * static_cast<double>(i);
        const std::string verdict = one.verdict == ChangeVerdict::not_comparable ? "can't be told" : spaced(to_word(one.verdict));
        out += svg::text(frame.left + 2, top + 14, "start", cut(one.what + ": " + verdict, frame.width - frame.left - 10, frame.font), "label");
        out += bar(frame, x, top + 20, *one.before, "under", "then", unit) + bar(frame, x, top + 36, *one.after, "bar", "now", unit);
        out += "\n";
    }
    return out + svg::close();
}

}  // namespace hushtrace
