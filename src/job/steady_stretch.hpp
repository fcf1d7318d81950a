#pragma once
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// A stretch of a channel [s from its start].
struct Stretch {
    double from_s = 0, to_s = 0;
    double duration_s() const { return to_s - from_s; }
    std::span<const double> of(std::span<const double> samples, double sample_rate_hz) const;
};

/// The longest stretch over which a tone near `frequency_hz` (within 2 %) keeps its level: each tenth of a
/// second (or five cycles, if that is longer) within 0.1 dB of the stretch's middle level. Nothing when no
/// two follow each other so.
std::optional<Stretch> steady_stretch(std::span<const double> samples, double sample_rate_hz,
                                      double frequency_hz);

/// Time of the first three samples in a row at or above 0.999, or of the first that reaches full scale.
std::optional<double> first_overload_s(std::span<const double> samples, double sample_rate_hz);

double mean_square(std::span<const double> samples);

/// All channels' samples, up to so many seconds.
std::vector<std::vector<double>> read_beginning(BlockReader& sound, double most_s);

}  // namespace hushtrace
