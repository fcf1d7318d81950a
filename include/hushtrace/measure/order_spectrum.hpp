#pragma once
#include <cstddef>
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"

namespace hushtrace {

/// Sound sampled evenly in cycles of a followed line rather than in time: what turns with it becomes steady.
struct CycleSamples {
    std::vector<double> samples;
    double samples_per_cycle = 0;
    double cycles() const { return static_cast<double>(samples.size()) / samples_per_cycle; }
};

/// Resamples by the track's phase (computed order tracking; Fyfe and Munck 1997, Mech. Syst. Signal Process.
/// 11(2)). Samples per cycle are chosen so that the sampling is never coarser than the original; the
/// interpolator is a windowed sine of 24 taps, within 0.01 dB up to 0.35 of the original rate.
CycleSamples resample_by_cycles(std::span<const double> samples, double sample_rate_hz, const Track& track);

/// Sharpens a track by the phase of its own line: the resampled line's slow phase is the track's error.
///   averaging_s   phase is averaged over stretches this long, so faster wander is left in
Track refine_track(std::span<const double> samples, double sample_rate_hz, const Track& track,
                   double averaging_s = 0.06);

/// Averaged spectrum over cycles: sample_rate_hz of the result counts samples per cycle, its frequencies are
/// ratios to the followed line (1 = the line itself). Segments of about `resolution_s` seconds at the mean
/// frequency.
///   throws Error too_short
PowerSpectrum order_spectrum(const CycleSamples& resampled, double mean_hz, double resolution_s = 1.0);

}  // namespace hushtrace
