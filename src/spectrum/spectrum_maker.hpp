#pragma once
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"

// [Welch] Welch 1967, "The use of fast Fourier transform for the estimation of power spectra", IEEE Trans.
// AU-15(2).
namespace hushtrace {

inline std::size_t hop_of(std::size_t length, double overlap) {
    if (!(overlap >= 0.0 && overlap <= 0.95))
        throw Error(ErrorKind::invalid_request, "overlap must lie between 0 and 0.95");
    const long hop = std::lround((1.0 - overlap) * static_cast<double>(length));
    return static_cast<std::size_t>(std::max(1L, hop));
}

/// [Welch]: variance/mean² of an average of K segments = (1/K) [1 + 2 sum_j (1 - j/K) rho_j], where rho_j is
/// the squared correlation of the window with itself moved by j hops. Holds for noise that is flat across a
/// bin.
inline double effective_averages_of(std::span<const double> window, std::size_t hop, std::size_t segments) {
    double energy = 0;
    for (const double w : window) energy += w * w;
    double spread = 1.0;
    const double k = static_cast<double>(segments);
    for (std::size_t j = 1; j * hop < window.size() && j < segments; ++j) {
        double shared = 0;
        for (std::size_t n = j * hop; n < window.size(); ++n) shared += window[n] * window[n - j * hop];
        const double rho = (shared / energy) * (shared / energy);
        spread += 2.0 * (1.0 - static_cast<double>(j) / k) * rho;
    }
    return k / spread;
}

/// Samples that the segments are worth for a band's mean square: sum(u)² / sum(u²). That mean square is the mean of y²
/// under the weight u, the sum of all segments' squared windows, with y the band's signal (Parseval); for Gaussian y of
/// density S its variance is integral(S²) * sum(u²) / sum(u)².
///   source  Bendat and Piersol, Random Data, section 8.2: of a mean square over T, integral(S²) / T, one-sided
inline double effective_samples_of(std::span<const double> window, std::size_t hop, std::size_t segments) {
    std::vector<double> squared(window.size());
    double sum = 0, fourth = 0;
    for (std::size_t n = 0; n < window.size(); ++n) {
        squared[n] = window[n] * window[n];
        sum += squared[n];
        fourth += squared[n] * squared[n];
    }
    const double k = static_cast<double>(segments);
    double squares = k * fourth;
    for (std::size_t j = 1; j * hop < window.size() && j < segments; ++j) {
        double shared = 0;
        for (std::size_t n = j * hop; n < window.size(); ++n) shared += squared[n] * squared[n - j * hop];
        squares += 2.0 * (k - static_cast<double>(j)) * shared;
    }
    return k * sum * k * sum / squares;
}

/// What all averaged spectra share: the window, the hop, the scale.
struct SpectrumScale {
    SpectrumScale(double sample_rate_hz, std::size_t length, WindowKind kind, double overlap)
        : rate(sample_rate_hz),
          hop(hop_of(length, overlap)),
          window_kind(kind),
          window(window_samples(kind, length)) {
        if (!(sample_rate_hz > 0.0) || !std::isfinite(sample_rate_hz))
            throw Error(ErrorKind::invalid_request, "the sample rate must be above 0");
        double squares = 0;
        for (const double w : window) squares += w * w;
        density_scale = 2.0 / (rate * squares);  // one-sided: each bin stands for its mirror image too
    }

    /// Weight of bin k: dc and half the rate have no mirror image.
    double scale(std::size_t k) const {
        return k == 0 || k == window.size() / 2 ? 0.5 * density_scale : density_scale;
    }

    PowerSpectrum finish(const std::vector<double>& sums, std::size_t segments) const {
        if (segments == 0)
            throw Error(ErrorKind::too_short, "too short for a spectrum with bins this narrow");
        PowerSpectrum out;
        out.sample_rate_hz = rate;
        out.length = window.size();
        out.noise_bandwidth_hz = noise_bandwidth_bins(window) * rate / static_cast<double>(window.size());
        out.segments = segments;
        out.effective_averages = effective_averages_of(window, hop, segments);
        out.effective_duration_s = effective_samples_of(window, hop, segments) / rate;
        out.window = window_kind;
        out.density.resize(sums.size());
        for (std::size_t k = 0; k < sums.size(); ++k)
            out.density[k] = sums[k] * scale(k) / static_cast<double>(segments);
        return out;
    }

    double rate;
    std::size_t hop;
    WindowKind window_kind;
    std::vector<double> window;
    double density_scale = 0;
};

/// Auto and cross spectra of single channels: one transform of real samples beside the scale.
struct SpectrumMaker : SpectrumScale {
    SpectrumMaker(double sample_rate_hz, std::size_t length, WindowKind kind, double overlap)
        : SpectrumScale(sample_rate_hz, length, kind, overlap),
          transform(length),
          weighted(length),
          bins(length / 2 + 1) {}

    void turn(std::span<const double> segment) {
        for (std::size_t i = 0; i < segment.size(); ++i) weighted[i] = segment[i] * window[i];
        transform.forward(weighted, bins);
    }

    RealTransform transform;
    std::vector<double> weighted;
    std::vector<std::complex<double>> bins;
};

}  // namespace hushtrace
