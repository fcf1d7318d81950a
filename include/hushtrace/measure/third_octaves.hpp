#pragma once
#include <cstddef>
#include <span>
#include <vector>

#include "hushtrace/measure/lines.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"

namespace hushtrace {

/// One band of a third of an octave.
///   source  IEC 61260-1:2014, base ten, 1 kHz the reference: mid-band 1000 · 10^(x/10) Hz, edges that times and over 10^(1/20)
struct ThirdOctave {
    double nominal_hz = 0;            ///< as it is called: 25, 31.5, 40 ...
    double mid_hz = 0, low_hz = 0, high_hz = 0;
};
/// The 31 bands from 20 Hz to 20 kHz.
std::span<const ThirdOctave> third_octave_bands();

/// What one band holds.
struct ThirdOctaveLevel {
    ThirdOctave band;
    Reading mean_square;              ///< full scale squared, as NoiseFloor has it; 0 of digital silence
    double bins = 0;                  ///< of the spectrum, so wide is the band
    /// Narrower than the window's main lobe: a tone in it spills into the bands beside it, and noise is read with few bins.
    bool few_bins = false;
};

/// Levels by thirds of octaves: the density summed over each band, edge bins by their share. So noise reads as an ideal band
/// filter has it. A real one of class 1 differs from that:
///   - noise, white or pink: its band is as wide within a tenth of a decibel;
///   - a tone at an edge: the filter shows it 3 dB down in both bands; here it is shared by the bins of its main lobe (two either
///     way of a Hann window), so the two bands' powers add up to the tone's;
///   - beside a strong tone the filter's skirts fill the next bands (class 1 asks for about 17 dB one band off, 42 dB two bands
///     off, from memory); here they show their own noise.
/// Bands that reach beyond half the sample rate are left out.
///   floor_density, lines  as in noise_floor: for the uncertainty, which is found in the same way
std::vector<ThirdOctaveLevel> third_octaves(const PowerSpectrum& spectrum, const std::vector<double>& floor_density,
                                            const std::vector<SpectralLine>& lines);

}  // namespace hushtrace
