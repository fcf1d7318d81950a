#include "hushtrace/measure/noise_floor.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "line_bins.hpp"

namespace hushtrace {
namespace {

constexpr double kFrom_hz = 20.0, kTo_hz = 20000.0;
constexpr std::size_t kWeightings = 4;

std::array<double, kWeightings> weights_at(double frequency_hz) {
    return {1.0, a_weighting_power(frequency_hz), c_weighting_power(frequency_hz),
            itu468_weighting_power(frequency_hz)};
}

/// Sums of one variant of the floor, a place for each weighting.
struct Sums {
    std::array<double, kWeightings> power{}, variance{};

    WeightedFigures figures() const {
        const auto reading = [this](std::size_t i) {
            const double sd = std::sqrt(variance[i]);
            return Reading{power[i], sd, limit_of_averaging(power[i] > 0.0 ? sd / power[i] : 0.0)};
        };
        return {reading(0), reading(1), reading(2), reading(3)};
    }
};

void require_finite(const PowerSpectrum& spectrum) {
    for (const double density : spectrum.density)
        if (!std::isfinite(density)) throw Error(ErrorKind::not_finite, "noise floor: a sample was not a finite number");
}

}  // namespace

NoiseFloor noise_floor(const PowerSpectrum& spectrum) {
    require_finite(spectrum);
    const std::vector<double> under = noise_under_lines(spectrum);
    return noise_floor(spectrum, under, find_lines(spectrum, under, kFrom_hz / 2, kTo_hz));
}

NoiseFloor noise_floor(const PowerSpectrum& spectrum, const std::vector<double>& floor_density,
                       const std::vector<SpectralLine>& lines) {
    NoiseFloor floor;
    floor.from_hz = kFrom_hz;
    floor.upper_hz = std::min(kTo_hz, 0.5 * spectrum.sample_rate_hz);
    const double step = spectrum.bin_hz();
    const double time_s = std::max(spectrum.effective_duration_s, 0.5 / step);
    // the mean of the square of an estimate that scatters by 1/sqrt(K) is 1 + 1/K times the square of what it estimates
    const double averages = std::max(1.0, spectrum.effective_averages), unscattered = averages / (averages + 1.0);
    const std::vector<bool> in_line = bins_of_lines(spectrum, lines);
    Sums all, broadband;
    for (std::size_t k = 0; k < spectrum.density.size(); ++k) {
        const double f = spectrum.frequency_hz(k);
        const double low = std::max(f - 0.5 * step, floor.from_hz), high = std::min(f + 0.5 * step, floor.upper_hz);
        if (high <= low) continue;
        const double density = spectrum.density[k];
        const double noise = in_line[k] ? std::min(density, floor_density[k]) : density;
        const double squared = noise * noise * unscattered;
        const auto weights = weights_at(f);
        for (std::size_t i = 0; i < kWeightings; ++i) {
            const double w = weights[i], own = w * w * squared * (high - low) / time_s;
            all.power[i] += w * density * (high - low);
            broadband.power[i] += w * noise * (high - low);
            broadband.variance[i] += own;
            // the tone's share of the bin beats with the noise in it
            all.variance[i] += own + 2.0 * w * w * (density - noise) * noise * (high - low) / time_s;
        }
    }
    floor.all = all.figures();
    floor.broadband = broadband.figures();
    return floor;
}

Reading as_level_dbfs(const Reading& mean_square) {
    const double relative = mean_square.value > 0.0 ? mean_square.sd / mean_square.value : 0.0;
    return {dbfs_from_mean_square(mean_square.value), decibels_from_power(1.0 + relative), mean_square.limited_by};
}

Reading less_interface(const Reading& take, const Reading& own) {
    if (!(take.value >= 2.0 * own.value)) return {take.value, take.sd, LimitedBy::interface};
    return {take.value - own.value, std::hypot(take.sd, own.sd), take.limited_by};
}

}  // namespace hushtrace
