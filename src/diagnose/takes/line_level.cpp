#include "line_level.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

/// Power in a band beyond the noise that its surroundings tell, with its standard deviation: each channel's, full scale squared.
std::vector<std::pair<double, double>> bulge_of(const TakeSurvey& survey, double low_hz, double high_hz) {
    std::vector<std::pair<double, double>> bulges;
    for (const ChannelSurvey& channel : survey.channels) {
        const PowerSpectrum& s = channel.spectrum;
        double beyond = 0, squares = 0;
        if (!channel.silent && !channel.floor_density.empty())
            for (std::size_t k = s.bin_of(low_hz); k <= s.bin_of(high_hz) && k < s.density.size(); ++k) {
                beyond += (s.density[k] - channel.floor_density[k]) * s.bin_hz();
                squares += std::pow(channel.floor_density[k] * s.bin_hz(), 2) / std::max(1.0, s.effective_averages);
            }
        constexpr double neighbours = 2.0;   // bins of a windowed spectrum go together
        bulges.emplace_back(beyond, std::sqrt(neighbours * squares));
    }
    return bulges;
}

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

bool bulges_alike(const TakeSurvey& running, const TakeSurvey& off, double frequency_hz, double wander) {
    constexpr double sure_sd = 4.0, as_much = 0.5;
    const double reach_hz = std::max(5.0, 2.0 * wander * frequency_hz);
    const auto here = bulge_of(running, frequency_hz - reach_hz, frequency_hz + reach_hz);
    const auto there = bulge_of(off, frequency_hz - reach_hz, frequency_hz + reach_hz);
    for (std::size_t c = 0; c < std::min(here.size(), there.size()); ++c)
        if (there[c].first > sure_sd * there[c].second && there[c].first > as_much * here[c].first) return true;
    return false;
}

}  // namespace hushtrace
