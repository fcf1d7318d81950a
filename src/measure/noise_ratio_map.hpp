#pragma once
#include <cstddef>
#include <span>
#include <vector>

#include "noise_shape.hpp"

namespace hushtrace {

/// Power against the noise round it, in cells of time and frequency: what a search for wandering lines looks at.
struct NoiseRatioMap {
    double window_s = 0, hop_s = 0;  ///< of a column; column t is centred on window_s / 2 + t * hop_s
    double bin_hz = 0;
    std::size_t columns = 0, bins = 0;
    std::vector<float> ratio;        ///< [columns * bins], exponential with mean 1 where there is noise alone

    static constexpr float nothing_known = -1.0F;  ///< a cell that says neither for nor against a line
    double centre_s(std::size_t column) const { return 0.5 * window_s + static_cast<double>(column) * hop_s; }
    float at(std::size_t column, std::size_t bin) const { return ratio[column * bins + bin]; }
    double lobe_hz(double snr_db) const;
    /// Bins from low to high are left out of what follows, in one column.
    void leave_out(std::size_t column, double low_hz, double high_hz);
    /// From there on up (direction 1) or down (-1), bins that stand well over the noise without a gap.
    void leave_out_skirt(std::size_t column, double from_hz, int direction);
    /// A multiple of a followed line: its lobe, what it swept over while a window lasted, and its skirts.
    void leave_out(const Ridge& ridge, double multiple);
};

/// Short-time power (Hann, half overlapping windows) over the noise; then a factor for each column and each fifth of the
/// range, for noise that comes and goes.
///   still  lines that hold still: their lobes say nothing
NoiseRatioMap noise_ratio_map(std::span<const double> samples, double sample_rate_hz, double window_s, double highest_hz,
                              const NoiseShape& noise, const std::vector<PassedLine>& still = {});

}  // namespace hushtrace
