#include <algorithm>
#include <cmath>

#include "harmonic_powers.hpp"
#include "line_spectrum.hpp"

namespace hushtrace {

HarmonicPowers harmonics_by_transform(const HarmonicTask& task) {
    constexpr double kCyclesForFlatTop = 40.0;
    const double cycles = task.tone_hz * static_cast<double>(task.rest.size()) / task.sample_rate_hz;
    const LineSpectrum s = line_spectrum(
        task.rest, task.sample_rate_hz,
        cycles < kCyclesForFlatTop ? WindowKind::blackman_harris : WindowKind::hft248d);
    const LobeShape lobe(s.kind);
    const double tone_bins = task.tone_hz / s.bin_hz;
    const auto of_multiple = [&](double bin) {
        return std::abs(std::remainder(bin, tone_bins)) < static_cast<double>(s.lobe);
    };
    std::vector<double> scratch;
    HarmonicPowers out;
    for (std::size_t h = 2; h < task.count + 2; ++h) {
        const double place = tone_bins * static_cast<double>(h);
        const auto bin = static_cast<std::size_t>(std::lround(place));
        const double scale = s.tone_scale() / lobe.power(place - std::round(place));
        const BinNoise noise = noise_round(s, place, of_multiple, scratch);
        out.with_noise.push_back(s.power[bin] * scale);
        out.noise.push_back(noise.power * scale);
        out.noise_sd.push_back(noise.sd * scale);
    }
    const BinNoise beside_tone = noise_round(s, tone_bins, of_multiple, scratch);
    const BandPower band = band_power(s, task.lowest_hz, task.highest_hz, task.tone_hz, beside_tone);
    out.rest_in_band = band.power;
    out.rest_sd = band.sd;
    return out;
}

}  // namespace hushtrace
