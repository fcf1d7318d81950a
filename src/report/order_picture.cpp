#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/png.hpp"
#include "hushtrace/report/wording.hpp"
#include "level_key.hpp"
#include "svg.hpp"
#include "tracks.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostColumns = 480, kRows = 260;
constexpr double kFrom = 0.03, kTo = 8.0;  // of the leading line's frequency, that the picture shows

/// What one unit of the map's ratio is on the picture's axis.
double axis_scale(const PictureOrders& orders) { return orders.reference_order.value_or(1.0) / orders.reference_ratio; }

/// First and last ratio of the map that the picture shows; the axis is logarithmic.
std::pair<double, double> span_of(const PictureOrders& orders) {
    const double end = static_cast<double>(orders.map.level_dbfs.front().size()) * orders.map.row_ratio;
    const double to = std::min(end, kTo * orders.reference_ratio);
    return {std::min(std::max(kFrom * orders.reference_ratio, 2.0 * orders.map.row_ratio), 0.5 * to), to};
}

std::size_t column_at(const OrderMap& map, double time_s) {
    const auto above = std::lower_bound(map.time_s.begin(), map.time_s.end(), time_s);
    if (above == map.time_s.begin()) return 0;
    if (above == map.time_s.end()) return map.time_s.size() - 1;
    const auto i = static_cast<std::size_t>(above - map.time_s.begin());
    return map.time_s[i] - time_s < time_s - map.time_s[i - 1] ? i : i - 1;
}

IndexedImage pixels_of(const PictureOrders& orders) {
    const OrderMap& map = orders.map;
    IndexedImage image;
    image.width = std::min(map.time_s.size(), kMostColumns);
    image.height = kRows;
    image.palette = level_palette();
    image.pixels.assign(image.width * image.height, 0);
    const auto [from, to] = span_of(orders);
    const std::size_t last = map.level_dbfs.front().size() - 1;
    std::vector<std::pair<std::size_t, std::size_t>> rows;  // of the map, for each of the picture from its top
    for (std::size_t row = 0; row < kRows; ++row) {
        const auto at = [&, low = from, high = to](std::size_t r) {
            const double share = 1.0 - static_cast<double>(r) / static_cast<double>(kRows);
            return std::min(last, static_cast<std::size_t>(low * std::pow(high / low, share) / map.row_ratio));
        };
        rows.emplace_back(std::min(at(row + 1) + (at(row) > at(row + 1) ? 1 : 0), at(row)), at(row));
    }
    const auto [low, high] = level_span_dbfs(map.level_dbfs);
    const double from_s = map.time_s.front(), length_s = map.time_s.back() - from_s;
    for (std::size_t i = 0; i < image.width; ++i) {
        const double t = from_s + length_s * (static_cast<double>(i) + 0.5) / static_cast<double>(image.width);
        const auto& column = map.level_dbfs[column_at(map, t)];
        for (std::size_t row = 0; row < image.height; ++row) {
            const auto begin = column.begin();
            const float level = *std::max_element(begin + static_cast<std::ptrdiff_t>(rows[row].first),
                                                  begin + static_cast<std::ptrdiff_t>(rows[row].second) + 1);
            const double share = (static_cast<double>(level) - low) / (high - low);
            image.pixels[row * image.width + i] = static_cast<std::uint8_t>(std::lround(std::clamp(share, 0.0, 1.0) * 255.0));
        }
    }
    return image;
}

/// A line that holds still: on the axis of orders it falls as the leading line climbs.
std::vector<std::pair<double, double>> fixed_line(const OrderMap& map, double frequency_hz, double scale, const Scale& x,
                                                  const Scale& y) {
    std::vector<std::pair<double, double>> points;
    const std::size_t stride = map.time_s.size() / 200 + 1;
    for (std::size_t i = 0; i < map.time_s.size(); i += stride) {
        const double order = frequency_hz / map.frequency_hz[i] * scale;
        if (order > y.from && order < y.to) points.emplace_back(x.at(map.time_s[i]), y.at(order));
    }
    return points;
}

/// Of each finding that doesn't turn with the reference its strongest line, strongest first.
std::vector<MarkedLine> fixed_lines(const TakePicture& picture) {
    std::set<std::string> moving = {picture.orders->source_id};
    for (const PictureTrack& track : picture.tracks) moving.insert(track.source_id);
    std::vector<MarkedLine> lines;
    for (const MarkedLine& line : picture.lines)
        if (!moving.contains(line.source_id)) lines.push_back(line);
    std::stable_sort(lines.begin(), lines.end(),
                     [](const MarkedLine& a, const MarkedLine& b) { return a.level_dbfs > b.level_dbfs; });
    std::set<std::string> named;
    std::erase_if(lines, [&](const MarkedLine& line) { return !named.insert(line.source_id).second; });
    if (lines.size() > 4) lines.resize(4);
    return lines;
}

/// Those of the finding's lines where they are known, else its first multiples; ascending.
std::vector<double> ratios_to_name(const TakePicture& picture) {
    for (const PictureTrack& track : picture.tracks)
        if (track.source_id == picture.orders->source_id && !track.ratios.empty()) return track.ratios;
    return {1.0, 2.0, 3.0, 4.0};
}

/// 1, 2 and 5 in each decade.
std::vector<Tick> order_ticks(double from, double to) {
    std::vector<Tick> ticks;
    for (double decade = std::pow(10.0, std::floor(std::log10(from))); decade <= to; decade *= 10.0)
        for (const double step : {1.0, 2.0, 5.0})
            if (decade * step >= from && decade * step <= to) ticks.push_back({decade * step, fmt::format("{:g}", decade * step)});
    return ticks;
}

std::string leading_ticks(const svg::Frame& frame, const PictureOrders& orders, const Scale& x,
                          const std::vector<Tick>& ticks) {
    std::string out;
    double last_px = -1e9;
    for (const Tick& tick : ticks) {
        const double px = x.at(tick.value);
        if (px - last_px < 4.2 * frame.font) continue;
        last_px = px;
        const double hz = orders.map.frequency_hz[column_at(orders.map, tick.value)] * orders.reference_ratio;
        out += svg::text(px, frame.top - 7, "middle", figures_text(hz, 3), "tick");
    }
    return out;
}

}  // namespace

bool has_order_map(const TakePicture& picture) {
    if (!picture.orders) return false;
    const PictureOrders& orders = *picture.orders;
    return orders.map.time_s.size() >= 2 && orders.map.level_dbfs.front().size() >= 2 && orders.reference_ratio > 0.0 &&
           orders.map.time_s.back() > orders.map.time_s.front();
}

std::string order_map_image(const TakePicture& picture, const std::string& image_id) {
    return fmt::format(
        "<image id=\"{}\" width=\"1\" height=\"1\" preserveAspectRatio=\"none\" "
        "href=\"data:image/png;base64,{}\"/>\n",
        image_id, base64(encode_png(pixels_of(*picture.orders))));
}

std::string order_map_words(const TakePicture& picture) {
    const PictureOrders& orders = *picture.orders;
    std::string out = fmt::format("What turns with the {} stands on level lines; ", clean_text(orders.label));
    const auto fixed = fixed_lines(picture);
    if (fixed.empty()) return out + "what holds still rises and falls against it.";
    out += "what holds still rises and falls against it, drawn dotted: ";
    for (std::size_t i = 0; i < fixed.size(); ++i) out += (i > 0 ? "; " : "") + clean_text(fixed[i].label);
    return out + ".";
}

std::string order_map_svg(const TakePicture& picture, PictureSize size, const std::string& id, const std::string& image_id,
                          const std::string& title) {
    const PictureOrders& orders = *picture.orders;
    const bool wide = size == PictureSize::wide;
    const svg::Frame frame = wide ? svg::Frame{900, 376, 62, 826, 46, 322, 13} : svg::Frame{372, 306, 50, 312, 46, 260, 12};
    const double scale = axis_scale(orders), from_s = orders.map.time_s.front(), to_s = orders.map.time_s.back();
    const auto [lowest, highest] = span_of(orders);
    const Scale x{from_s, to_s, frame.left, frame.right, false},
        y{lowest * scale, highest * scale, frame.bottom, frame.top, true};
    const std::vector<Tick> times = even_ticks(from_s, to_s, wide ? 11 : 6);
    std::string out = svg::open(frame, id, title,
                                fmt::format("Order against time over {} s; lighter is louder. {}",
                                            figures_text(to_s - from_s, 3), order_map_words(picture)));
    out += fmt::format("<use href=\"#{}\" transform=\"translate({:.1f} {:.1f}) scale({:.1f} {:.1f})\"/>\n", image_id, frame.left,
                       frame.top, frame.right - frame.left, frame.bottom - frame.top);
    out += svg::x_axis({frame.width, frame.height, frame.left, frame.right, frame.bottom, frame.bottom, frame.font}, x, times,
                       "time, s");
    out += svg::y_axis({frame.width, frame.height, frame.left, frame.left, frame.top, frame.bottom, frame.font}, y,
                       thinned(order_ticks(y.from, y.to), y, 1.5 * frame.font),
                       orders.reference_order ? "lines per crankshaft turn" : "multiples of the leading line");
    out += level_key(frame, orders.map.level_dbfs, picture.volts_full_scale);
    out += svg::text(frame.left, frame.top - 9 - frame.font, "start", "leading line, Hz", "tick") +
           leading_ticks(frame, orders, x, times);
    for (const MarkedLine& line : fixed_lines(picture)) {
        const auto points = fixed_line(orders.map, line.frequency_hz, scale, x, y);
        if (points.size() < 2) continue;
        out += svg::trace(points, "track-edge dots") + svg::trace(points, "track dots");
        const auto& middle = points[points.size() / 2];
        const bool at_top = middle.second - 5 < frame.top + frame.font;
        out += svg::text(middle.first, middle.second + (at_top ? frame.font + 2 : -5), "middle", line.label, "track-name");
    }
    double last_px = 1e9;
    for (const double ratio : ratios_to_name(picture)) {
        const double order = ratio * orders.reference_order.value_or(1.0), px = y.at(order) - 4;
        if (order < y.from || order > y.to || px < frame.top + frame.font || last_px - px < frame.font + 1) continue;
        last_px = px;
        const std::string text = ratio_text(ratio);
        out += svg::text(frame.left + 5, px, "start", text.empty() ? orders.label : text, "track-name");
    }
    return out + "\n" + svg::close();
}

}  // namespace hushtrace
