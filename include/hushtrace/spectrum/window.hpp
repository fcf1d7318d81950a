#pragma once
#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

namespace hushtrace {

/// Windows with their published constants.
///   source  Heinzel, Ruediger, Schilling 2002, "Spectrum and spectral density estimation by the DFT", appendix C;
///           Harris 1978, Proc. IEEE 66(1), table I
enum class WindowKind {
    rectangular, hann, blackman_harris, hft70, hft90d, hft95, hft116d, hft144d, hft248d
};

/// The window's samples, periodic form: w[j] = sum_k a_k cos(2 pi k j / N).
std::vector<double> window_samples(WindowKind kind, std::size_t length);

/// Facts of a window, computed from its samples.
double coherent_gain(std::span<const double> window);          ///< mean of the window
double noise_bandwidth_bins(std::span<const double> window);   ///< N sum w^2 / (sum w)^2 [bins]

/// Published figures, for choosing.
struct WindowFacts {
    std::string_view name;
    double noise_bandwidth_bins;
    double highest_sidelobe_db;
    double recommended_overlap;     ///< 0..1
    std::size_t main_lobe_bins;     ///< from the centre to the first zero
};
WindowFacts window_facts(WindowKind kind);

}  // namespace hushtrace
