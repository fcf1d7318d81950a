#include "settled_level.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

void SettledLevel::add(const LevelNow& reading) {
    readings_.push_back(reading);
    while (readings_.back().time_s - readings_.front().time_s > over_s) readings_.pop_front();
}

std::optional<LevelNow> SettledLevel::steady() const {
    constexpr double nearly = 0.92, moves_db = 1.5;
    if (readings_.size() < 4 || readings_.back().time_s - readings_.front().time_s < nearly * over_s) return std::nullopt;
    const LevelNow& newest = readings_.back();
    double power = 0, sd = 0, hz = 0, hz_count = 0, low = 1e9, high = -1e9;
    for (const LevelNow& one : readings_) {
        if (one.at_most != newest.at_most || !one.level_db) return std::nullopt;
        power += power_from_decibels(*one.level_db);
        sd += one.sd_db.value_or(0.0);
        low = std::min(low, *one.level_db);
        high = std::max(high, *one.level_db);
        if (!one.frequency_hz) continue;
        hz += *one.frequency_hz;
        ++hz_count;
    }
    const double count = static_cast<double>(readings_.size());
    if (newest.at_most) {
        // at no time in this second was it more
        LevelNow out{newest.time_s, low, std::nullopt, true, std::nullopt};
        return out;
    }
    sd /= count;
    if (high - low > moves_db + 4.0 * sd) return std::nullopt;
    // two to three readings of half a second lie in a second
    LevelNow out{newest.time_s, decibels_from_power(power / count), sd / std::sqrt(2.0), false, std::nullopt};
    if (hz_count > 0) out.frequency_hz = hz / hz_count;
    return out;
}

}  // namespace hushtrace
