#pragma once
#include <cstddef>
#include <vector>

#include "hushtrace/measure/order_spectrum.hpp"

namespace hushtrace {

/// Level against order and time: what turns with the followed line stands on level rows, what holds still sinks as the
/// line climbs.
struct OrderMap {
    double row_ratio = 0;                          ///< a row is this wide; row 0 begins at ratio 0
    std::vector<double> time_s;                    ///< [columns] middle of a column
    std::vector<double> frequency_hz;              ///< [columns] of the followed line there
    std::vector<std::vector<float>> level_dbfs;    ///< [columns][rows] the strongest bin of the row, read as a tone
    bool empty() const { return level_dbfs.empty(); }
};

/// The map of sound that was resampled by `track`. Windows (Hann, half overlapped) are as many cycles long as
/// `resolution_s` holds at the mean frequency, so a column is shorter where the line is higher.
///   most_ratio   the last row ends there, or at half the samples of a cycle
///   rows         1 or more; bins are merged when there are more of them
///   returns      empty when the sound is shorter than one window
///   throws       Error invalid_request: no track, no rows, most_ratio that is not above 0
OrderMap order_map(const CycleSamples& resampled, const Track& track, double most_ratio, std::size_t rows = 300,
                   double resolution_s = 0.17);

}  // namespace hushtrace
