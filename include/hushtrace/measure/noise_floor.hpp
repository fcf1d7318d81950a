#pragma once
#include <vector>

#include "hushtrace/measure/lines.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/weighting.hpp"

namespace hushtrace {

/// Mean squares [full scale squared] of the same noise under several weightings, each with its standard uncertainty.
struct WeightedFigures {
    Reading unweighted, a_weighted, c_weighted;
    Reading itu468;  ///< rms, 0 dB at 1 kHz
};

/// Noise floor of a stretch between 20 Hz and 20 kHz, or as far as the rate reaches.
///
/// The uncertainty is what the randomness of the noise leaves over the time that was averaged: variance of a mean
/// square = [integral of (W S)² + 2 sum over the tones of (W² p S)] / effective duration, with W the weighting, S the
/// density of the noise, p a tone's mean square. A tone is taken for what it was during the take.
/// Above 0.5 dB of it the figure is limited by the take's length.
///   source  Bendat and Piersol, Random Data, section 8.2; the windows' overlap as in PowerSpectrum
struct NoiseFloor {
    WeightedFigures all;        ///< with everything in it
    WeightedFigures broadband;  ///< the lines cut out, the noise round them in their place
    double from_hz = 20, upper_hz = 20000;  ///< the band; a rate of 40 kHz or less ends it at half the rate
};
NoiseFloor noise_floor(const PowerSpectrum& spectrum);
/// the same with lines that are known already
NoiseFloor noise_floor(const PowerSpectrum& spectrum, const std::vector<double>& floor_density,
                       const std::vector<SpectralLine>& lines);

/// A mean square [full scale squared] as a level; silence reads -infinity.
Reading as_level_dbfs(const Reading& mean_square);

/// The take's noise less what the interface makes by itself: mean squares of one unit. Below twice the interface's own
/// (3 dB above it) the difference is no reading: it is then the take's own figure, limited by the interface.
Reading less_interface(const Reading& take, const Reading& own);

}  // namespace hushtrace
