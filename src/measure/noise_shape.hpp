#pragma once
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

namespace hushtrace {

/// The noise's power spectrum over a take, read from the sound itself: what wandering lines are held against.
struct NoiseShape {
    double bin_hz = 0;
    std::vector<double> log_density;  ///< [bins] ln of full scale squared per hertz, smoothed
    std::vector<bool> unsure;         ///< [bins] too little noise stands to both sides to tell
    double loudest = 0;               ///< highest short-time density anywhere

    /// Density as a Hann window whose bins are so wide sees it.
    double seen_through(double frequency_hz, double window_bin_hz) const;
    bool sure_at(double frequency_hz) const;
};

/// Each bin's mean over time, without what passes by, smoothed as widely as the bins near by allow.
///   still  lines that hold still: what lies under their lobes is no noise
NoiseShape noise_shape(std::span<const double> samples, double sample_rate_hz, double highest_hz,
                       const std::vector<PassedLine>& still);

/// The same in bins of 20 Hz, each its own mean: whatever holds still, line or hump, is noise then, and only what sweeps over
/// many bins stands out of it.
NoiseShape noise_of_each_bin(std::span<const double> samples, double sample_rate_hz, double highest_hz,
                             const std::vector<PassedLine>& still);

/// How far from a line its power stays within 17 dB of the noise in a Hann window: side lobes begin 31 dB down and fall by
/// 18 dB an octave.
///   snr_db  the line's power over the noise's in 1 Hz
double lobe_hz(double bin_hz, double snr_db);

}  // namespace hushtrace
