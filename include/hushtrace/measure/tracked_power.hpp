#pragma once
#include <span>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/measure/ridge.hpp"

namespace hushtrace {

/// What a wandering line holds, read along its track.
struct TrackedPower {
    Reading mean_square;       ///< full scale squared, the noise under the line taken off in power
    double floor_density = 0;  ///< of the noise beside the track, full scale squared per hertz
    double over_noise_sd = 0;  ///< power in the line's own filter above the noise's, in standard deviations of the noise's mean
};

/// Turns the sound by the track's phase, so that the line stands still at 0 Hz whatever it does, and reads it through Hann
/// windows; six parallel tracks beside it give the noise. Right for lines whose track is known within 0.3 / window_s [Hz]:
/// farther off the reading falls short (0.4 dB at 0.3 of a bin, 1.4 dB at half a bin).
///   ratio     of the line read to the line followed
///   throws    Error too_short for fewer than two windows; invalid_request for a line outside 0 to 0.45 of the rate
TrackedPower power_along(std::span<const double> samples, double sample_rate_hz, const Track& track, double ratio = 1.0,
                         double window_s = 0.08);

}  // namespace hushtrace
