#include "hushtrace/measure/third_octaves.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "line_bins.hpp"

namespace hushtrace {
namespace {

constexpr std::array<double, 31> kNominal_hz = {20,  25,   31.5, 40,   50,   63,   80,   100,  125,  160,  200,   250,   315,   400,  500, 630,
                                                800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000};
constexpr int kFirst = -17;           // 20 Hz
constexpr double kMainLobe_bins = 4;  // of a Hann window

std::array<ThirdOctave, kNominal_hz.size()> make_bands() {
    std::array<ThirdOctave, kNominal_hz.size()> bands;
    for (std::size_t i = 0; i < bands.size(); ++i) {
        const double mid = 1000.0 * std::pow(10.0, (kFirst + static_cast<int>(i)) / 10.0), half = std::pow(10.0, 0.05);
        bands[i] = {kNominal_hz[i], mid, mid / half, mid * half};
    }
    return bands;
}

}  // namespace

std::span<const ThirdOctave> third_octave_bands() {
    static const auto bands = make_bands();
    return bands;
}

std::vector<ThirdOctaveLevel> third_octaves(const PowerSpectrum& spectrum, const std::vector<double>& floor_density,
                                            const std::vector<SpectralLine>& lines) {
    const double step = spectrum.bin_hz(), time_s = std::max(spectrum.effective_duration_s, 0.5 / step);
    const double averages = std::max(1.0, spectrum.effective_averages), unscattered = averages / (averages + 1.0);
    const std::vector<bool> in_line = bins_of_lines(spectrum, lines);
    std::vector<ThirdOctaveLevel> levels;
    for (const ThirdOctave& band : third_octave_bands()) {
        if (band.high_hz > 0.5 * spectrum.sample_rate_hz) break;
        ThirdOctaveLevel level{.band = band, .mean_square = {}, .bins = (band.high_hz - band.low_hz) / step};
        level.few_bins = level.bins < kMainLobe_bins;
        double variance = 0;
        const auto first = static_cast<std::size_t>(std::max(0.0, std::floor(band.low_hz / step - 0.5)));
        for (std::size_t k = first; k < spectrum.density.size(); ++k) {
            const double f = spectrum.frequency_hz(k);
            const double low = std::max(f - 0.5 * step, band.low_hz), high = std::min(f + 0.5 * step, band.high_hz);
            if (f - 0.5 * step >= band.high_hz) break;
            if (high <= low) continue;
            const double density = spectrum.density[k], noise = in_line[k] ? std::min(density, floor_density[k]) : density;
            level.mean_square.value += density * (high - low);
            variance += (noise * noise * unscattered + 2.0 * (density - noise) * noise) * (high - low) / time_s;
        }
        level.mean_square.sd = std::sqrt(variance);
        if (level.mean_square.value > 0.0) level.mean_square.limited_by = limit_of_averaging(level.mean_square.sd / level.mean_square.value);
        levels.push_back(level);
    }
    return levels;
}

}  // namespace hushtrace
