#pragma once
#include <optional>
#include <vector>

#include "hushtrace/measure/still_lines.hpp"

namespace hushtrace {

/// A narrow hump of the noise: too wide for a line, too narrow for a filter's shape.
struct Hump {
    double frequency_hz = 0, low_hz = 0, high_hz = 0;
    double mean_square = 0;   ///< above the noise beside it, full scale squared
    double above_db = 0;      ///< its middle over the noise beside it
    double surprise = 0;      ///< less what looking everywhere allows
    /// How evenly a column's power fills it: 1 for noise, far below for a line that strays through it; unset where it is
    /// too few bins wide to tell.
    std::optional<double> evenness;
};

/// Humps whose middle (0.3, 1 or 3 % of the frequency either way) stands over both sides (five to thirteen times as
/// wide in all) by more than a resonance of Q 6 that adds 10 dB does, beyond what noise does by chance. Medians, so
/// that lines count for little. Ascending frequency; of those that overlap, the most surprising.
std::vector<Hump> find_humps(const ColumnMap& map, const StillSpectrum& still, double least_surprise);

}  // namespace hushtrace
