#include <algorithm>
#include <cmath>

#include "floor_reading.hpp"
#include "hushtrace/measure/third_octaves.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kSameScale_db = 0.5;

bool same_pad(const Take& one, const Take& other, Channel channel) {
    const auto pad = [channel](const Take& take) {
        for (std::size_t c = 0; c < take.channels.size() && c < take.attenuation_db.size(); ++c)
            if (take.channels[c] == channel) return take.attenuation_db[c];
        return 0.0;
    };
    return std::abs(pad(one) - pad(other)) < kSameScale_db;
}

const Take* take_named(const Job& job, const std::string& file) {
    for (const Take& take : job.takes)
        if (take.file == file) return &take;
    return nullptr;
}

/// Of the takes with the inputs shorted that have this channel behind the same pad, the last.
const FloorReading* interface_of(const FloorReading& reading, const std::vector<FloorReading>& all, const Job& job) {
    const Take* own = take_named(job, reading.take);
    const FloorReading* found = nullptr;
    for (const FloorReading& other : all) {
        const Take* take = take_named(job, other.take);
        if (!own || !take || !take->conditions.has(Hookup::inputs_shorted) || other.channel != reading.channel) continue;
        if (same_pad(*own, *take, reading.channel) && !other.third_octaves.empty()) found = &other;
    }
    return found;
}

Reading mean_square_of(const Reading& level_db) {
    const double power = power_from_decibels(level_db.value);
    return {power, power * (power_from_decibels(level_db.sd) - 1.0), level_db.limited_by};
}
Reading level_of(const Reading& power) {
    return {decibels_from_power(power.value), decibels_from_power(1.0 + power.sd / power.value), power.limited_by};
}

}  // namespace

std::string_view to_word(InterfaceKnown known) {
    return known == InterfaceKnown::by_band ? "by_band" : known == InterfaceKnown::whole ? "whole" : "nothing";
}

std::vector<FloorBand> bands_of(const ChannelSurvey& channel) {
    std::vector<FloorBand> bands;
    if (channel.silent) return bands;
    for (const ThirdOctaveLevel& one : third_octaves(channel.spectrum, channel.floor_density, channel.lines)) {
        FloorBand band{one.band.nominal_hz, one.band.mid_hz, {}, one.few_bins};
        if (one.mean_square.value > 0.0) {
            band.level.dbfs = as_level_dbfs(one.mean_square);
            if (channel.volts_full_scale)
                band.level.dbv = Reading{dbv_from_dbfs(band.level.dbfs->value, *channel.volts_full_scale),
                                         std::hypot(band.level.dbfs->sd, channel.volts_full_scale_sd_db.value_or(0.0)), band.level.dbfs->limited_by};
        }
        bands.push_back(band);
    }
    return bands;
}

void settle_bands(std::vector<FloorReading>& floor, const Job& job) {
    const std::vector<FloorReading> before = floor;
    for (FloorReading& reading : floor) {
        const Take* take = take_named(job, reading.take);
        if (!take || take->conditions.has(Hookup::inputs_shorted)) continue;
        const FloorReading* interface = interface_of(reading, before, job);
        if (!interface) continue;
        reading.bands_interface = InterfaceKnown::by_band;
        for (std::size_t i = 0; i < std::min(reading.third_octaves.size(), interface->third_octaves.size()); ++i) {
            FloorFigure& level = reading.third_octaves[i].level;
            const auto& own_dbfs = interface->third_octaves[i].level.dbfs;
            if (!level.dbfs || !own_dbfs) continue;
            Reading own = *own_dbfs;
            own.sd = std::hypot(own.sd, kOwnNoiseSd_db);
            const Reading left = less_interface(mean_square_of(*level.dbfs), mean_square_of(own));
            if (left.limited_by == LimitedBy::interface) {
                level.dbfs->limited_by = LimitedBy::interface;
                if (level.dbv) level.dbv->limited_by = LimitedBy::interface;
                continue;
            }
            level.interface_taken_off = true;
            if (!level.dbv) continue;
            const Reading told = level_of(left);
            const double scale_sd_db = std::sqrt(std::max(0.0, level.dbv->sd * level.dbv->sd - level.dbfs->sd * level.dbfs->sd));
            *level.dbv = {level.dbv->value + told.value - level.dbfs->value, std::hypot(told.sd, scale_sd_db), level.dbv->limited_by};
        }
    }
}

}  // namespace hushtrace
