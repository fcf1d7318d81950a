#pragma once
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {

/// One windowed transform of a span's middle, for reading lines whose frequencies are known, and the noise round them.
struct LineSpectrum {
    WindowKind kind = WindowKind::hft248d;
    std::vector<double> power;  ///< |X|^2
    std::size_t length = 0;     ///< samples, of the span or a little fewer
    double bin_hz = 0, window_sum = 0, window_energy = 0, window_fourth = 0;
    std::size_t lobe = 0;  ///< bins from a line's centre that belong to it

    /// Scales of |X|^2: to a line's mean square, and to the mean square of the noise that one bin stands for.
    double tone_scale() const { return 2.0 / (window_sum * window_sum); }
    double noise_scale() const { return 2.0 / (static_cast<double>(length) * window_energy); }
    double bandwidth_bins() const {
        return static_cast<double>(length) * window_energy / (window_sum * window_sum);
    }
    /// By how much the window raises the variance of noise power summed over many bins: 1 for none.
    double correlation() const {
        return static_cast<double>(length) * window_fourth / (window_energy * window_energy);
    }
};
LineSpectrum line_spectrum(std::span<const double> samples, double rate_hz, WindowKind kind);

/// A line's power as it reads when it lies this far from the bin's centre, 1 in the centre. A cosine-sum
/// window's lobe doesn't depend on its length; 1024 samples give it to 1e-6.
class LobeShape {
public:
    explicit LobeShape(WindowKind kind);
    double power(double offset_bins) const;

private:
    std::vector<double> window_;
};

struct BinNoise {
    double power = 0, sd = 0;  ///< of one bin, |X|^2
};
/// Noise of one bin from the median of others: the power in a bin of noise is exponential, its median is ln 2 of its
/// mean, and the median of m independent ones spreads by 1/(ln 2 sqrt m) of it. Bins nearer than the window's
/// bandwidth aren't independent. Reorders `powers`.
BinNoise noise_from_median(std::vector<double>& powers, double bandwidth_bins);

/// Noise of one bin from the bins round a place that belong to no line: `of_line(bin)` says which do.
template <class OfLine>
BinNoise noise_round(const LineSpectrum& s, double place_bins, OfLine&& of_line, std::vector<double>& scratch) {
    constexpr std::ptrdiff_t kReachBins = 90;
    const auto centre = static_cast<std::ptrdiff_t>(std::lround(place_bins));
    const auto last_bin = static_cast<std::ptrdiff_t>(s.power.size()) - 2;
    for (std::ptrdiff_t reach = kReachBins;; reach *= 2) {
        scratch.clear();
        const std::ptrdiff_t first = std::max<std::ptrdiff_t>(1, centre - reach);
        const std::ptrdiff_t last = std::min(last_bin, centre + reach);
        for (std::ptrdiff_t k = first; k <= last; ++k)
            if (!of_line(static_cast<double>(k))) scratch.push_back(s.power[static_cast<std::size_t>(k)]);
        if (scratch.size() >= 24 || reach > last_bin) break;
    }
    return noise_from_median(scratch, s.bandwidth_bins());
}

/// Mean square of a stretch of the band and its standard uncertainty, from its noise and the lines in it.
struct BandPower {
    double power = 0, sd = 0;
};
/// `without`: bins whose own content is replaced by noise (a place where a tone was taken off).
BandPower band_power(const LineSpectrum& s, double from_hz, double to_hz, double without_hz, const BinNoise& instead);

}  // namespace hushtrace
