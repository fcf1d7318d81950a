#include "line_level.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kBinsOfALine = 4.0;  // a Hann window's main lobe
constexpr double kLeastMeanSquare = 1e-20;

}  // namespace

Reading limited_by_noise(Reading mean_square) {
    // the same 0.5 dB as for averaging, but here it is the noise that a tone is read in
    const double relative = mean_square.value > 0.0 ? mean_square.sd / mean_square.value : 0.0;
    mean_square.limited_by = limit_of_averaging(relative) == LimitedBy::length ? LimitedBy::noise : LimitedBy::nothing;
    return mean_square;
}

Reading level_of_lines(const ChannelSurvey& channel, double mean_square, const std::vector<double>& lines_hz) {
    const PowerSpectrum& spectrum = channel.spectrum;
    const double power = std::max(mean_square, kLeastMeanSquare);
    double squares = 0, density = 0;
    for (const double hz : lines_hz) {
        const double here = channel.floor_density.empty() ? 0.0 : channel.floor_density[spectrum.bin_of(hz)];
        squares += here * here;
        density = std::max(density, here);
    }
    const double time_s = std::max(spectrum.effective_duration_s, 0.5 / spectrum.bin_hz());
    const double variance = (kBinsOfALine * spectrum.bin_hz() * squares + 2.0 * power * density) / time_s;
    return as_level_dbfs(limited_by_noise({power, std::sqrt(variance), {}}));
}

Harmonic harmonic_of(const ChannelSurvey& channel, double number, double frequency_hz, double mean_square) {
    const Reading level = level_of_lines(channel, mean_square, {frequency_hz});
    Harmonic out{number, frequency_hz, level.value, std::nullopt};
    out.sd_db = level.sd;
    out.limited_by = level.limited_by;
    if (!channel.volts_full_scale) return out;
    out.level_dbv = dbv_from_dbfs(level.value, *channel.volts_full_scale);
    out.dbv_sd_db = std::hypot(level.sd, channel.volts_full_scale_sd_db.value_or(0.0));
    return out;
}

}  // namespace hushtrace
