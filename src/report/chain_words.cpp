#include "chain_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

std::string with_sd(double value, double sd, const char* unit) {
    if (!std::isfinite(value)) return "silence";
    const double least = std::max(2 * sd, 1e-4);
    const int digits = std::clamp(static_cast<int>(std::ceil(-std::log10(least))), 0, 4);
    return fmt::format("{:.{}f} {} ±{:.{}f}", value, digits, unit, least, digits);
}

std::string level_of(const std::optional<Reading>& reading) {
    if (!reading) return "not measured";
    if (reading->limited_by == LimitedBy::noise) return fmt::format("below {:.1f} dB (noise)", reading->value + 2 * reading->sd);
    return with_sd(reading->value, reading->sd, "dB");
}

std::string thd_of(const ChainChannel& one) {
    if (!one.thd_percent) return "not measured";
    const std::string at = " at " + frequency_text(one.thd_hz);
    if (one.thd_percent->limited_by == LimitedBy::noise)
        return "below " + distortion_text(one.thd_percent->value + 2 * one.thd_percent->sd) + " (noise)" + at;
    return distortion_text(one.thd_percent->value, one.thd_percent->sd, one.thd_percent->limited_by) + at;
}

std::string ratio_text(const Reading& ratio) {
    const double value = 100 * ratio.value, sd = 100 * ratio.sd;
    if (ratio.limited_by != LimitedBy::length) return distortion_text(value, sd, ratio.limited_by) + limit_text(ratio.limited_by);
    return "below " + figures_text(value + 2 * sd, 2) + " % (length)";
}

std::string level_of_tone(const ChainIntermodulation& one, const ToneReading& tone) {
    return one.volts_full_scale ? short_level_text(std::nullopt, dbv_from_dbfs(tone.level_dbfs, *one.volts_full_scale))
                                : short_level_text(tone.level_dbfs, std::nullopt);
}

}  // namespace hushtrace
