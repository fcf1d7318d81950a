#pragma once
#include <cstddef>
#include <vector>

#include "hushtrace/spectrum/averaged_spectrum.hpp"

namespace hushtrace {

/// A tone standing out of the noise round it.
struct SpectralLine {
    double frequency_hz = 0, frequency_sd_hz = 0;
    double mean_square = 0;  ///< full scale squared, the noise under it taken off
    double mean_square_sd = 0;
    double floor_density = 0;  ///< of the noise round it, full scale squared per hertz
    double prominence_db = 0;  ///< peak bin against the noise in that bin
    double sharpness_db =
        0;  ///< peak bin against the higher of those three bins off; 31 and more for a steady tone
    double low_hz = 0, high_hz = 0;  ///< first and last bin of what stands out
    double width_hz = 0;  ///< of the stretch that stands out; a steady tone's is the window's
};

/// The noise density under the lines: a running median over a stretch of max(least_hz, share * frequency)
/// either way, turned into a mean by the chi-squared law of an averaged spectrum (Wilson and Hilferty 1931).
///   returns  [density.size()] full scale squared per hertz
std::vector<double> noise_under_lines(const PowerSpectrum& spectrum, double least_hz = 40.0,
                                      double share = 0.08);

/// The lines of a spectrum, ascending in frequency. A line is a bin that noise alone would reach less than
/// once in some three million (5 standard deviations), with what adjoins it.
///
/// Right for steady tones; one that wanders over many bins is split or missed: follow it first (ridge.hpp).
std::vector<SpectralLine> find_lines(const PowerSpectrum& spectrum, const std::vector<double>& floor_density,
                                     double from_hz, double to_hz);

/// A tone that wanders between two frequencies, read by the power in its band: all that stands above the noise there.
/// One bin of it would read low by the time that it spends elsewhere. What else lies in the band is read with it.
///   floor_density  of the noise, from a stretch several times as wide as the band (noise_under_lines), since the tone
///                  itself must not be half of it
SpectralLine line_in_band(const PowerSpectrum& spectrum, const std::vector<double>& floor_density, double low_hz,
                          double high_hz);

}  // namespace hushtrace
