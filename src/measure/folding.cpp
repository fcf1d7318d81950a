#include "hushtrace/measure/folding.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "line_spectrum.hpp"

namespace hushtrace {
namespace {

constexpr double kLeastCycles = 100.0, kMostPpm = 250.0, kStandsOut = 10.0, kLeastShare = 0.25;
constexpr double kRates_hz[] = {44100.0, 48000.0, 32000.0, 88200.0, 96000.0};
constexpr std::size_t kLeastLines = 5, kLobe = 5;  // bins that a line fills either way (Blackman-Harris: 4)

struct Bins {
    double bin_hz = 0, tone_bins = 0;
    std::vector<double> power, noise;  // noise: median of the bins between two harmonics
    bool near_harmonic(double bin) const { return std::abs(std::remainder(bin, tone_bins)) < static_cast<double>(kLobe); }
};

Bins bins_of(std::span<const double> samples, double rate, double tone_hz) {
    LineSpectrum spectrum = line_spectrum(samples, rate, WindowKind::blackman_harris);
    Bins out;
    out.bin_hz = spectrum.bin_hz;
    out.tone_bins = tone_hz / out.bin_hz;
    out.power = std::move(spectrum.power);
    out.noise.assign(out.power.size(), 0.0);
    std::vector<double> between;
    for (double low = 0; low < static_cast<double>(out.power.size()); low += out.tone_bins) {
        const auto first = static_cast<std::size_t>(low);
        const auto last = std::min(out.power.size(), static_cast<std::size_t>(low + out.tone_bins) + 1);
        between.clear();
        for (std::size_t k = first; k < last; ++k)
            if (!out.near_harmonic(static_cast<double>(k))) between.push_back(out.power[k]);
        if (between.empty()) continue;
        const auto middle = between.begin() + static_cast<std::ptrdiff_t>(between.size() / 2);
        std::nth_element(between.begin(), middle, between.end());
        std::fill(out.noise.begin() + static_cast<std::ptrdiff_t>(first), out.noise.begin() + static_cast<std::ptrdiff_t>(last), *middle);
    }
    return out;
}

/// Places [bins] to which harmonics between half and one and a half times the rate fold.
std::vector<double> folded_to(const Bins& bins, double stage_hz, double tone_hz, double top_hz) {
    std::vector<double> out;
    for (double k = std::ceil(0.5 * stage_hz / tone_hz); k * tone_hz < 1.5 * stage_hz; ++k) {
        const double hz = std::abs(stage_hz - k * tone_hz);
        if (hz > 0.5 * tone_hz && hz < top_hz && !bins.near_harmonic(hz / bins.bin_hz)) out.push_back(hz / bins.bin_hz);
    }
    return out;
}

}  // namespace

std::optional<Folding> find_folding(std::span<const double> samples, double sample_rate_hz, double tone_hz) {
    const double cycles = tone_hz * static_cast<double>(samples.size()) / sample_rate_hz;
    if (!(cycles >= kLeastCycles)) return std::nullopt;
    if (!std::all_of(samples.begin(), samples.end(), [](double x) { return std::isfinite(x); })) return std::nullopt;
    const Bins bins = bins_of(samples, sample_rate_hz, tone_hz);
    if (bins.tone_bins < 4.0 * static_cast<double>(kLobe)) return std::nullopt;
    const double top_hz = std::min(20000.0, 0.45 * sample_rate_hz);
    const auto tone_bin = static_cast<std::size_t>(std::lround(bins.tone_bins));
    std::optional<Folding> best;
    for (const double nominal_hz : kRates_hz) {
        const double step_ppm = 0.5e6 * bins.bin_hz / nominal_hz;
        for (double ppm = -kMostPpm; ppm <= kMostPpm; ppm += step_ppm) {
            Folding found;
            double power = 0;
            for (const double place : folded_to(bins, nominal_hz * (1 + 1e-6 * ppm), tone_hz, top_hz)) {
                const auto bin = static_cast<std::size_t>(std::lround(place));
                ++found.looked_for;
                if (bins.noise[bin] <= 0 || bins.power[bin] < kStandsOut * bins.noise[bin]) continue;
                ++found.lines;
                power += bins.power[bin] - bins.noise[bin];
            }
            if (found.lines < kLeastLines || static_cast<double>(found.lines) < kLeastShare * static_cast<double>(found.looked_for)) continue;
            found.clipped_at_hz = nominal_hz;
            found.clock_ppm = ppm;
            found.level_db = 10.0 * std::log10(power / bins.power[tone_bin]);
            if (!best || found.level_db > best->level_db) best = found;
        }
    }
    return best;
}

}  // namespace hushtrace
