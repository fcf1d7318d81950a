#include "level_key.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/png.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

std::pair<double, double> level_span_dbfs(const std::vector<std::vector<float>>& columns_dbfs) {
    std::vector<float> levels;
    const std::size_t stride = std::max<std::size_t>(1, columns_dbfs.size() / 64);
    for (std::size_t c = 0; c < columns_dbfs.size(); c += stride)
        for (const float level : columns_dbfs[c])
            if (is_sound(level)) levels.push_back(level);
    if (levels.empty()) return {-140.0, -100.0};
    std::sort(levels.begin(), levels.end());
    const double high = static_cast<double>(levels[levels.size() - 1 - levels.size() / 2000]);
    const double low = static_cast<double>(levels[levels.size() / 4]);
    return {std::clamp(low, high - 90.0, high - 30.0), high};
}

std::string level_key(const svg::Frame& frame, const std::vector<std::vector<float>>& columns_dbfs,
                      std::optional<double> volts_full_scale) {
    auto [low, high] = level_span_dbfs(columns_dbfs);
    const double add_db = volts_full_scale ? dbv_from_dbfs(0.0, *volts_full_scale) : 0.0;
    low += add_db, high += add_db;
    const double left = frame.right + 10, width = 10;
    std::string out;
    constexpr int kPatches = 32;
    const double patch_px = (frame.bottom - frame.top) / kPatches;
    for (int i = 0; i < kPatches; ++i) {
        const auto& colour = level_palette()[static_cast<std::size_t>(i * 255 / (kPatches - 1))];
        out += fmt::format(
            "<rect x=\"{:.1f}\" y=\"{:.2f}\" width=\"{:.1f}\" height=\"{:.2f}\" "
            "fill=\"#{:02x}{:02x}{:02x}\"/>",
            left, frame.bottom - patch_px * (i + 1), width, patch_px + 0.4, colour[0], colour[1], colour[2]);
    }
    const Scale scale{low, high, frame.bottom, frame.top, false};
    for (const Tick& tick : even_ticks(low, high, 6))
        out += svg::text(left + width + 4, scale.at(tick.value) + 0.35 * frame.font, "start", tick.label, "tick");
    return out + svg::text(left, frame.top - 7, "start", volts_full_scale ? "dBV" : "dBFS", "tick") + "\n";
}

}  // namespace hushtrace
