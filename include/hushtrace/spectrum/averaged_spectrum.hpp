#pragma once
#include <complex>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {

/// One-sided power spectrum, averaged over segments.
struct PowerSpectrum {
    double sample_rate_hz = 0;
    std::size_t length = 0;                ///< samples in a segment
    double noise_bandwidth_hz = 0;         ///< equivalent noise bandwidth of one bin
    std::size_t segments = 0;
    double effective_averages = 0;         ///< segments, less what their overlap shares (Welch 1967)
    /// The mean square M of a band wider than a few bins, in Gaussian noise of density S, has variance
    /// (integral of S² over the band) / this time: the take's length, less what the window's slopes leave out.
    double effective_duration_s = 0;
    WindowKind window = WindowKind::hann;
    /// [length/2 + 1] power density in full scale squared per hertz (mean square; times volts² gives V²/Hz).
    std::vector<double> density;

    double bin_hz() const { return sample_rate_hz / static_cast<double>(length); }
    double frequency_hz(std::size_t bin) const { return static_cast<double>(bin) * bin_hz(); }
    std::size_t bin_of(double frequency_hz) const;
    /// Mean square in a bin read as a tone (power spectrum scaling): density times noise bandwidth.
    double tone_mean_square(std::size_t bin) const { return density[bin] * noise_bandwidth_hz; }
    /// Mean square between two frequencies: the density summed, edge bins by their share.
    double band_mean_square(double from_hz, double to_hz) const;
};

/// Averages the power spectrum of one channel as its samples come (Welch 1967, IEEE Trans. AU-15(2)). Memory does not
/// grow with the take. Segments start at the first sample; the last incomplete one is left out.
class SpectrumAccumulator {
public:
    /// overlap 0..0.95; throws Error invalid_request
    SpectrumAccumulator(double sample_rate_hz, std::size_t length, WindowKind window = WindowKind::hann,
                        double overlap = 0.5);
    ~SpectrumAccumulator();
    SpectrumAccumulator(SpectrumAccumulator&&) noexcept;
    SpectrumAccumulator& operator=(SpectrumAccumulator&&) noexcept;
    void add(std::span<const double> samples);
    std::size_t segments() const;
    /// throws Error too_short when not one segment was complete
    PowerSpectrum result() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

/// Cross spectrum of two channels: Sxy = mean of conj(X) Y, one-sided, with both auto spectra.
struct CrossSpectrum {
    PowerSpectrum x, y;
    std::vector<std::complex<double>> xy;
    double coherence(std::size_t bin) const;                 ///< |Sxy|^2 / (Sxx Syy), 0..1
    std::complex<double> transfer(std::size_t bin) const;    ///< H1 = Sxy / Sxx
};
class CrossAccumulator {
public:
    CrossAccumulator(double sample_rate_hz, std::size_t length, WindowKind window = WindowKind::hann,
                     double overlap = 0.5);
    ~CrossAccumulator();
    CrossAccumulator(CrossAccumulator&&) noexcept;
    CrossAccumulator& operator=(CrossAccumulator&&) noexcept;
    /// both spans of the same size
    void add(std::span<const double> x, std::span<const double> y);
    CrossSpectrum result() const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
