#pragma once
#include <cstddef>
#include <span>
#include <vector>

namespace hushtrace {

/// Short-time spectra of a stretch of sound, and each column's level against the stretch's own, band by band: what is
/// looked for in the noise is looked for against the noise of the moment.
struct ColumnMap {
    double sample_rate_hz = 0, bin_hz = 0, hop_s = 0, column_s = 0;
    std::vector<double> time_s;                ///< [columns] of the window's centre
    std::vector<std::vector<float>> density;   ///< [columns][bins] full scale squared per hertz
    std::vector<double> mean;                  ///< [bins] over time
    std::vector<std::size_t> band_of;          ///< [bins] index into level[column]
    std::vector<std::vector<double>> level;    ///< [columns][bands] of the noise, 1 where it is as usual
    double averages = 0;                       ///< columns, less what their overlap shares (Welch 1967)

    std::size_t bins() const { return mean.size(); }
    std::size_t bin_of(double frequency_hz) const;
    double frequency_hz(std::size_t bin) const { return static_cast<double>(bin) * bin_hz; }
    /// One cell against the level of its moment.
    double levelled(std::size_t column, std::size_t bin) const {
        return static_cast<double>(density[column][bin]) / level[column][band_of[bin]];
    }
};

/// Hann windows of `column_s`, half overlapped; of half the stretch where that is shorter. At least three columns.
///   throws Error too_short under a tenth of a second
ColumnMap column_map(std::span<const double> samples, double sample_rate_hz, double column_s = 1.0);

}  // namespace hushtrace
