#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "harmonic_powers.hpp"
#include "kept.hpp"
#include "phasor.hpp"

namespace hushtrace {
namespace {

constexpr double kCyclesForFlatTop = 40.0;
constexpr std::size_t kNoiseReachBins = 90;

std::size_t longest_fast_length(std::size_t most) {
    std::size_t best = 2;
    for (std::size_t fives = 1; fives <= most / 2; fives *= 5)
        for (std::size_t threes = fives; threes <= most / 2; threes *= 3) {
            std::size_t n = 2 * threes;
            while (n <= most / 2) n *= 2;
            best = std::max(best, n);
        }
    return best;
}

/// The windowed spectrum of the span's middle, in mean squares.
struct Spectrum {
    WindowKind kind = WindowKind::hft248d;
    std::vector<double> power;  // |X|^2
    std::size_t length = 0;
    double bin_hz = 0, window_sum = 0, window_energy = 0;
    std::size_t lobe = 0;  // bins from a line's centre that belong to it

    double tone_scale() const { return 2.0 / (window_sum * window_sum); }
    double noise_scale() const { return 2.0 / (static_cast<double>(length) * window_energy); }
    double bandwidth_bins() const {
        return static_cast<double>(length) * window_energy / (window_sum * window_sum);
    }
};

Spectrum spectrum_of(const HarmonicTask& task) {
    Spectrum s;
    s.length = longest_fast_length(task.rest.size());
    s.bin_hz = task.sample_rate_hz / static_cast<double>(s.length);
    if (task.tone_hz / s.bin_hz < kCyclesForFlatTop) s.kind = WindowKind::blackman_harris;
    s.lobe = window_facts(s.kind).main_lobe_bins;
    const std::vector<double>& window = kept_window(s.kind, s.length);
    const auto middle = task.rest.subspan((task.rest.size() - s.length) / 2, s.length);
    std::vector<double> weighted(s.length);
    for (std::size_t n = 0; n < s.length; ++n) {
        weighted[n] = window[n] * middle[n];
        s.window_sum += window[n];
        s.window_energy += window[n] * window[n];
    }
    RealTransform& fft = kept_transform(s.length);
    std::vector<std::complex<double>> bins(fft.bins());
    fft.forward(weighted, bins);
    s.power.resize(bins.size());
    std::transform(bins.begin(), bins.end(), s.power.begin(), [](auto x) { return std::norm(x); });
    return s;
}

/// A line's power as it reads when it lies this far from the bin's centre, 1 in the centre. A cosine-sum
/// window's lobe doesn't depend on its length; 1024 samples give it to 1e-6.
class LobeShape {
public:
    explicit LobeShape(WindowKind kind) : window_(kept_window(kind, 1024)) {}
    double power(double offset_bins) const {
        const double length = static_cast<double>(window_.size());
        std::complex<double> sum = 0;
        double whole = 0;
        for_each_phasor(window_.size(), 2.0 * std::numbers::pi * offset_bins / length, 0.0,
                        [&](std::size_t n, double c, double s) {
                            sum += window_[n] * std::complex<double>(c, s);
                            whole += window_[n];
                        });
        return std::norm(sum) / (whole * whole);
    }

private:
    std::vector<double> window_;
};

struct Noise {
    double power = 0, sd = 0;  // of one bin, |X|^2
};
/// Median of the bins round a place that belong to no multiple of the tone.
Noise noise_round(const Spectrum& s, double place_bins, double tone_bins, std::vector<double>& scratch) {
    scratch.clear();
    const auto centre = static_cast<std::ptrdiff_t>(std::lround(place_bins));
    const auto last_bin = static_cast<std::ptrdiff_t>(s.power.size()) - 2;
    for (std::ptrdiff_t reach = static_cast<std::ptrdiff_t>(kNoiseReachBins);; reach *= 2) {
        scratch.clear();
        for (std::ptrdiff_t k = centre - reach; k <= centre + reach; ++k) {
            if (k < 1 || k > last_bin) continue;
            const double to_multiple = std::abs(std::remainder(static_cast<double>(k), tone_bins));
            if (to_multiple >= static_cast<double>(s.lobe))
                scratch.push_back(s.power[static_cast<std::size_t>(k)]);
        }
        if (scratch.size() >= 24 || reach > last_bin) break;
    }
    if (scratch.empty()) return {};
    const auto middle = scratch.begin() + static_cast<std::ptrdiff_t>(scratch.size() / 2);
    std::nth_element(scratch.begin(), middle, scratch.end());
    // The power in a bin of noise is exponential: its median is ln 2 of its mean, and the median of m
    // independent ones spreads by 1/(ln 2 sqrt m) of it. Bins nearer than the window's bandwidth aren't
    // independent.
    const double mean = *middle / std::numbers::ln2;
    const double independent = std::max(1.0, static_cast<double>(scratch.size()) / s.bandwidth_bins());
    return {mean, mean / (std::numbers::ln2 * std::sqrt(independent))};
}

}  // namespace

HarmonicPowers harmonics_by_transform(const HarmonicTask& task) {
    const Spectrum s = spectrum_of(task);
    const LobeShape lobe(s.kind);
    const double tone_bins = task.tone_hz / s.bin_hz;
    std::vector<double> scratch;
    HarmonicPowers out;
    for (std::size_t h = 2; h < task.count + 2; ++h) {
        const double place = tone_bins * static_cast<double>(h);
        const auto bin = static_cast<std::size_t>(std::lround(place));
        const double scale = s.tone_scale() / lobe.power(place - std::round(place));
        const Noise noise = noise_round(s, place, tone_bins, scratch);
        out.with_noise.push_back(s.power[bin] * scale);
        out.noise.push_back(noise.power * scale);
        out.noise_sd.push_back(noise.sd * scale);
    }
    const auto first = static_cast<std::size_t>(std::ceil(task.lowest_hz / s.bin_hz));
    const auto last =
        std::min(s.power.size() - 1, static_cast<std::size_t>(std::floor(task.highest_hz / s.bin_hz)));
    const Noise beside_tone = noise_round(s, tone_bins, tone_bins, scratch);
    for (std::size_t k = first; k <= last; ++k) {
        const bool at_tone = std::abs(static_cast<double>(k) - tone_bins) < static_cast<double>(s.lobe);
        out.rest_in_band += s.noise_scale() * (at_tone ? beside_tone.power : s.power[k]);
    }
    return out;
}

}  // namespace hushtrace
