#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/floor_picture.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostDrawn = 4;  // four shapes, four dashes
constexpr const char* kTraces[kMostDrawn] = {"trace", "trace second", "trace dots", "trace second dashdot"};
constexpr const char* kMarks[kMostDrawn] = {"mark", "mark hollow", "mark", "mark hollow"};

const ChannelFloor* channel_of(const ConditionFloor& condition, Channel channel) {
    for (const ChannelFloor& one : condition.channels)
        if (one.channel == channel) return &one;
    return nullptr;
}
bool has_bands(const ConditionFloor& condition, Channel channel) {
    const ChannelFloor* one = channel_of(condition, channel);
    return one && one->floor.third_octaves.size() >= 2;
}
const FloorReading* interface_of(const FloorRecord& record, Channel channel) {
    for (const FloorReading& one : record.interface)
        if (one.channel == channel) return &one;
    return nullptr;
}

bool in_volts(const std::vector<FloorBand>& bands) {
    return std::any_of(bands.begin(), bands.end(), [](const FloorBand& one) { return one.level.dbv.has_value(); });
}
std::optional<double> level_of(const FloorBand& band, bool volts) {
    const auto& level = volts ? band.level.dbv : band.level.dbfs;
    return level && std::isfinite(level->value) ? std::optional(level->value) : std::nullopt;
}
std::string nominal_text(double nominal_hz) {
    return nominal_hz < 1000 ? fmt::format("{:g} Hz", nominal_hz) : fmt::format("{:g} kHz", nominal_hz / 1000);
}

bool all_in_volts(const std::vector<const ConditionFloor*>& conditions, Channel channel) {
    return std::all_of(conditions.begin(), conditions.end(),
                       [channel](const ConditionFloor* one) { return in_volts(channel_of(*one, channel)->floor.third_octaves); });
}

using Points = std::vector<std::pair<double, double>>;  // (frequency_hz, level)
Points points_of(const std::vector<FloorBand>& bands, bool volts) {
    Points points;
    for (const FloorBand& one : bands)
        if (const auto level = level_of(one, volts)) points.emplace_back(one.mid_hz, *level);
    return points;
}

std::string description(const FloorRecord& record, Channel channel) {
    std::string text;
    for (const std::string& one : third_octave_words(record, channel)) text += (text.empty() ? "" : " ") + one;
    return text;
}

}  // namespace

std::vector<const ConditionFloor*> drawn_conditions(const FloorRecord& record, Channel channel) {
    std::vector<const ConditionFloor*> plain, loaded;
    for (const ConditionFloor& one : record.conditions)
        if (has_bands(one, channel)) (one.loads.empty() ? plain : loaded).push_back(&one);
    std::stable_sort(loaded.begin(), loaded.end(), [](const auto* a, const auto* b) { return a->loads.size() > b->loads.size(); });
    const std::size_t room = loaded.empty() ? kMostDrawn : kMostDrawn - 1;
    if (plain.size() > room) plain.resize(room);
    for (const ConditionFloor* one : loaded)
        if (plain.size() < kMostDrawn) plain.push_back(one);
    return plain;
}

std::vector<Channel> drawn_channels(const FloorRecord& record) {
    std::vector<Channel> channels;
    for (const ConditionFloor& condition : record.conditions)
        for (const ChannelFloor& one : condition.channels)
            if (one.floor.third_octaves.size() >= 2 && std::find(channels.begin(), channels.end(), one.channel) == channels.end())
                channels.push_back(one.channel);
    return channels;
}

std::string third_octave_svg(const FloorRecord& record, Channel channel, PictureSize size, const std::string& id, const std::string& title) {
    const bool wide = size == PictureSize::wide;
    const auto conditions = drawn_conditions(record, channel);
    const bool volts = all_in_volts(conditions, channel);
    const FloorReading* interface = interface_of(record, channel);
    std::vector<Points> curves;
    double low = 1e300, high = -1e300;
    for (const ConditionFloor* one : conditions) {
        curves.push_back(points_of(channel_of(*one, channel)->floor.third_octaves, volts));
        for (const auto& [hz, db] : curves.back()) low = std::min(low, db), high = std::max(high, db);
    }
    const Points own = interface ? points_of(interface->third_octaves, volts) : Points{};
    for (const auto& [hz, db] : own) low = std::min(low, db);
    if (low > high) low = -120, high = -110;
    low = std::max(10.0 * std::floor((low - 2) / 10), 10.0 * std::floor((high - 150) / 10)), high = 10 * std::ceil((high + 2) / 10);
    const std::size_t rows = conditions.size() + (own.empty() ? 0 : 1);
    const double key_px = 20.0 * static_cast<double>(rows) + 8;
    const svg::Frame frame = wide ? svg::Frame{900, 340 + key_px, 62, 882, 10 + key_px, 292 + key_px, 13}
                                  : svg::Frame{372, 290 + key_px, 52, 356, 8 + key_px, 244 + key_px, 12};
    const Scale x{17.8, 22400, frame.left, frame.right, true}, y{low, high, frame.bottom, frame.top, false};
    const auto placed = [&](const Points& points) {
        Points out;
        for (const auto& [hz, db] : points) out.emplace_back(x.at(hz), y.at(db));
        return out;
    };
    std::string out = svg::open(frame, id, title, description(record, channel));
    if (own.size() >= 2) out += svg::area(placed(own), frame.bottom, "under");
    out += svg::x_axis(frame, x, thinned(frequency_ticks(x.from, x.to), x, wide ? 34 : 30), "band of a third of an octave, Hz");
    out += svg::y_axis(frame, y, even_ticks(low, high, wide ? 10 : 7), volts ? "dBV" : "dBFS");
    for (std::size_t i = 0; i < conditions.size(); ++i) {
        const Points points = placed(curves[i]);
        out += svg::trace(points, kTraces[i]);
        for (std::size_t k = 0; k < points.size(); ++k)
            if (wide || k % 2 == i % 2) out += svg::shape(i, points[k].first, points[k].second, wide ? 4.0 : 3.5, kMarks[i]);
        const double key_y = 14 + 20.0 * static_cast<double>(i);
        out += svg::trace({{frame.left, key_y - 4}, {frame.left + 34, key_y - 4}}, kTraces[i]);
        out += svg::shape(i, frame.left + 17, key_y - 4, 4.5, kMarks[i]);
        out += svg::text(frame.left + 42, key_y, "start", shortened(clean_text(conditions[i]->name), wide ? 58 : 23), "words") + "\n";
    }
    if (!own.empty()) {
        const double key_y = 14 + 20.0 * static_cast<double>(conditions.size());
        out += svg::area({{frame.left, key_y - 9}, {frame.left + 34, key_y - 9}}, key_y + 1, "under");
        out += svg::text(frame.left + 42, key_y, "start", "shaded: the interface by itself", "words") + "\n";
    }
    return out + svg::close();
}

std::vector<std::string> third_octave_words(const FloorRecord& record, Channel channel) {
    std::vector<std::string> out;
    const auto conditions = drawn_conditions(record, channel);
    if (conditions.empty()) return out;
    const bool volts = all_in_volts(conditions, channel);
    const auto& first = channel_of(*conditions.front(), channel)->floor.third_octaves;
    for (const ConditionFloor* one : conditions) {
        const auto& bands = channel_of(*one, channel)->floor.third_octaves;
        const FloorBand *loudest = nullptr, *risen = nullptr;
        double most = 0;
        for (std::size_t i = 0; i < bands.size(); ++i) {
            const auto level = level_of(bands[i], volts);
            if (!level) continue;
            if (!loudest || *level > *level_of(*loudest, volts)) loudest = &bands[i];
            const auto before = i < first.size() ? level_of(first[i], volts) : std::nullopt;
            if (before && *level - *before > most) most = *level - *before, risen = &bands[i];
        }
        if (!loudest) continue;
        std::string text = fmt::format("{}: loudest at {}, {:.0f} {}", shortened(clean_text(one->name), 60), nominal_text(loudest->nominal_hz),
                                       *level_of(*loudest, volts), volts ? "dBV" : "dBFS");
        if (one != conditions.front() && risen && most >= 1.0)
            text += fmt::format("; over {} most at {}, by {:.0f} dB", shortened(clean_text(conditions.front()->name), 60),
                                nominal_text(risen->nominal_hz), most);
        out.push_back(text + ".");
    }
    return out;
}

}  // namespace hushtrace
