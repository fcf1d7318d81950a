#pragma once
#include "hushtrace/spectrum/averaged_spectrum.hpp"

namespace hushtrace {

/// Weighting curves as power factors at a frequency; 1 at 1 kHz.
///   source  A: IEC 61672-1:2013 annex E; ITU-R BS.468-4 figure 1a (network formula)
double a_weighting_power(double frequency_hz);
double itu468_weighting_power(double frequency_hz);

/// Mean squares [full scale squared] of a stretch's noise between 20 Hz and 20 kHz (or as far as the rate reaches).
struct NoiseFloor {
    double unweighted = 0, a_weighted = 0, itu468 = 0;
    double sd_db = 0;              ///< of the unweighted figure, from the averaging
    double upper_hz = 20000;       ///< where the band ended
};
NoiseFloor noise_floor(const PowerSpectrum& spectrum);

}  // namespace hushtrace
