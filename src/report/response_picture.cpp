#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostCurves = 4;  // four shapes
constexpr double kDeepest_db = -40;

/// Points that stand out of the noise, against the channel's own level.
std::vector<std::pair<double, double>> told_points(const ChainChannel& one) {
    std::vector<std::pair<double, double>> out;
    for (const TransferPoint& point : one.response) {
        const Reading magnitude = point.magnitude_db();
        if (magnitude.limited_by == LimitedBy::noise || !std::isfinite(magnitude.value)) continue;
        out.emplace_back(point.frequency_hz, std::max(kDeepest_db, magnitude.value - one.gain_db->value));
    }
    return out;
}

std::vector<const ChainChannel*> drawn(const ChainAnalysis& analysis) {
    std::vector<const ChainChannel*> out;
    for (const ChainChannel& one : analysis.channels)
        if (one.gain_db && out.size() < kMostCurves && told_points(one).size() >= 2) out.push_back(&one);
    return out;
}

}  // namespace

bool has_response(const ChainAnalysis& analysis) { return !drawn(analysis).empty(); }

std::string response_svg(const ChainAnalysis& analysis, PictureSize size, const std::string& id, const std::string& title) {
    const bool wide = size == PictureSize::wide;
    const std::vector<const ChainChannel*> channels = drawn(analysis);
    double from_hz = 1e300, to_hz = 0, low = -10, high = 5;
    std::vector<std::vector<std::pair<double, double>>> curves;
    for (const ChainChannel* one : channels) {
        curves.push_back(told_points(*one));
        for (const auto& [hz, db] : curves.back()) {
            from_hz = std::min(from_hz, hz), to_hz = std::max(to_hz, hz);
            low = std::min(low, db - 1), high = std::max(high, db + 1);
        }
    }
    low = 5 * std::floor(low / 5), high = 5 * std::ceil(high / 5);
    to_hz = std::max(to_hz, from_hz + 10);
    const double key_px = 20.0 * static_cast<double>(channels.size()) + 8;
    const svg::Frame frame = wide ? svg::Frame{900, 340 + key_px, 62, 882, 10 + key_px, 292 + key_px, 13}
                                  : svg::Frame{372, 290 + key_px, 50, 356, 8 + key_px, 244 + key_px, 12};
    const Scale x{from_hz, to_hz, frame.left, frame.right, true}, y{low, high, frame.bottom, frame.top, false};
    std::string out = svg::open(frame, id, title, "level against frequency of each channel, 0 dB where it is stated");
    out += svg::x_axis(frame, x, thinned(frequency_ticks(from_hz, to_hz), x, wide ? 34 : 30), "frequency, Hz");
    out += svg::y_axis(frame, y, even_ticks(low, high, wide ? 10 : 7), "dB");
    out += svg::line(frame.left, y.at(0), frame.right, y.at(0), "limit");
    for (std::size_t i = 0; i < channels.size(); ++i) {
        const char* mark = i % 2 == 0 ? "mark" : "mark hollow";
        std::vector<std::pair<double, double>> points;
        for (const auto& [hz, db] : curves[i]) points.emplace_back(x.at(hz), y.at(db));
        out += svg::trace(points, i % 2 == 0 ? "trace" : "trace second");
        // shapes stand apart from each other, and those of one channel beside those of the next
        const std::size_t apart = std::max<std::size_t>(8, points.size() / 10);
        for (std::size_t k = apart * (i + 1) / (channels.size() + 1); k < points.size(); k += apart)
            out += svg::shape(i, points[k].first, points[k].second, 4.5, mark);
        const double key_y = 14 + 20.0 * static_cast<double>(i);
        out += svg::shape(i, frame.left + 6, key_y - 4, 4.5, mark);
        out += svg::text(frame.left + 18, key_y, "start",
                         fmt::format("{}{}", spaced(to_word(channels[i]->channel)),
                                     wide ? ", " + clean_text(channels[i]->take) : ""),
                         "words");
        out += "\n";
    }
    return out + svg::close();
}

}  // namespace hushtrace
