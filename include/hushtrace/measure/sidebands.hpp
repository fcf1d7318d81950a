#pragma once
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/ridge.hpp"

namespace hushtrace {

/// A pair of lines at even distance on both sides of a followed line, whose distance holds still while the line
/// wanders.
struct SidebandPair {
    double spacing_hz = 0, spacing_sd_hz = 0;
    double level_db = 0;       ///< both together, against the followed line
    double prominence_db = 0;  ///< of the weaker one, over the noise round it
};

/// Turns the sound by a line's phase, so that the line stands still at 0 Hz and what is modulated on it at a fixed
/// rate stands still beside it, and looks for pairs in the averaged spectrum (Hann segments of a second). What turns
/// with the line is smeared there, and so is what stands still beside it in the sound.
///   ratio     of the line to the followed track
///   from_hz, to_hz   spacings looked for; the upper one is cut to 0.9 of the line's frequency
///   returns   pairs that noise would show once in a thousand takes, strongest first, at most four
///   throws    Error too_short for less than two seconds
std::vector<SidebandPair> find_sidebands(std::span<const double> samples, double sample_rate_hz, const Track& track,
                                         double ratio = 1.0, double from_hz = 60.0, double to_hz = 700.0);

}  // namespace hushtrace
