#pragma once
#include <cstddef>
#include <cstdint>
#include <vector>

#include "noise_ratio_map.hpp"

namespace hushtrace {

/// Frequencies evenly spaced on a logarithmic scale, so that a wander of so many percent is as many cells everywhere.
struct LogGrid {
    double from_hz = 0, step = 0.0015;  ///< cell c is centred on from_hz * exp(c * step)
    std::size_t cells = 0;
    double hz(double cell) const;
};

/// How a line may wander and how loud it is taken to be. Its slope, the change of ln(frequency) in a second, is kept
/// for a while and then drawn anew (a renewal process): an engine's speed has inertia, and a path that remembers where it was
/// going is one of fewer than those that jump about.
struct PathLaw {
    double slope_per_s = 0.03;  ///< rms
    double memory_s = 0.3;      ///< for which a slope is kept on the mean: after it, the slope's correlation has fallen to 1/e
    double snr = 1.5;           ///< the line's power against the noise's in its bin
};

/// Sums over all paths through a map (a hidden Markov model's forward and backward recursions: Rabiner 1989, Proc. IEEE
/// 77(2)). A state is a frequency and a slope. A cell's likelihood ratio is that of a steady line in noise,
/// exp(-s) I0(2 sqrt(s r)), whose mean is 1 where there is noise alone; so is that of every path and of their mean, and
/// noise exceeds 1/p with a chance below p (Markov), as far as its spectrum is known.
class PathSum {
public:
    PathSum(const NoiseRatioMap& map, double from_hz, double to_hz, const PathLaw& law);
    /// ln of the mean likelihood ratio over all paths
    double log_evidence();
    /// Where the line is, given that there is one: mean and spread of the frequency in each column, about the likeliest
    /// cell.
    struct Place {
        std::vector<double> frequency_hz, sd_hz;  ///< [columns]
    };
    Place place();

private:
    static constexpr int kSteepest = 3;                  // in units of 2/3 of the slope's rms
    static constexpr std::size_t kSlopes = 2 * kSteepest + 1;
    using State = std::vector<float>;                    // [kSlopes * cells]

    void set_likelihood(double snr);
    State start() const;
    void sum_slopes(const float* from);
    double begin(State& state) const;                    // the first column's states; returns their sum
    double advance(const State& from, State& to, double sum_before, std::size_t column);
    void step_back(State& after, State& to, std::size_t column);
    /// next: the cell found for the column that follows, or a cell beyond the last; returns the one for this column
    std::size_t place_in(std::size_t column, std::size_t next, const float* forward, const State& backward, Place& out) const;
    std::size_t bins_in_cells(std::size_t cell, double bins) const;

    const NoiseRatioMap& map_;
    LogGrid grid_;
    double cells_a_unit_ = 1;                            // that a slope of one unit moves in a column's time
    float keeps_ = 0;                                    // chance that a slope lasts a column
    std::vector<float> slope_share_;                     // [kSlopes]
    std::vector<std::uint32_t> first_, last_;            // [cells] bins that a cell covers
    std::vector<float> likelihood_;                      // [columns * cells]
    std::vector<float> all_slopes_;                      // [cells] scratch
};

}  // namespace hushtrace
