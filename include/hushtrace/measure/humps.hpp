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

/// One width in which humps are looked for, relative to their frequency.
struct HumpShape {
    double half = 0;             ///< of the middle
    double near = 0, far = 0;    ///< of the sides
    double least_ratio = 1;      ///< of the middle to the sides, that no smooth noise reaches
};

/// Where and how; by itself, narrower ones than a resonance of Q 6 that adds 10 dB makes.
struct HumpSearch {
    double from_hz = 150.0, to_hz = 1e9;   ///< to 0.42 of the rate at most
    double least_surprise = 8.3;
    std::vector<HumpShape> shapes = {{0.003, 0.012, 0.03, 1.3}, {0.01, 0.04, 0.08, 1.7}, {0.03, 0.09, 0.16, 3.0}};
};

/// Humps whose middle (0.3, 1 or 3 % of the frequency either way) stands over both sides (five to thirteen times as
/// wide in all) by more than a resonance of Q 6 that adds 10 dB does, beyond what noise does by chance. Medians, so
/// that lines count for little. Ascending frequency; of those that overlap, the most surprising.
std::vector<Hump> find_humps(const ColumnMap& map, const StillSpectrum& still, const HumpSearch& search = {});

}  // namespace hushtrace
