#pragma once
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/lines.hpp"
#include "hushtrace/measure/order_map.hpp"

namespace hushtrace {

/// A line as the spectrum over a family's cycles and the one over time show it.
struct ReadOrder {
    double ratio = 1;            ///< to the followed line, at its mean frequency for a line that holds still
    double mean_square = 0;
    double sharpening_db = 0;    ///< prominence over cycles less prominence over time
    std::optional<bool> follows; ///< unset where the family moved too little to tell
};

/// A family's cycles as spectrum and as map, of the channel in which it is loudest.
struct OrderView {
    std::size_t channel = 0;
    std::vector<ReadOrder> lines;  ///< ascending ratio
    OrderMap map;
};

/// Reads both spectra against each other: over cycles, a line that turns with the track is sharp and one that holds
/// still is spread over as many bins as the track strayed; over time it is the other way round. The sharper one's level
/// is told. A line over cycles that is no more than what a still line leaves there while the track dwells (its power times
/// the share of cycles for which it stood at that ratio, with 3 dB to spare) isn't told, nor the other way round.
///   stretch  that was followed; its spectrum over time and the lines in it are of the same channel
OrderView view_orders(std::span<const double> stretch, double sample_rate_hz, const Track& track,
                      const PowerSpectrum& over_time, const std::vector<double>& floor_over_time,
                      const std::vector<SpectralLine>& lines_over_time);

}  // namespace hushtrace
