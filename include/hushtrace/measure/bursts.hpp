#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace hushtrace {

/// A short burst that lifts the noise over most of the band.
struct Burst {
    double time_s = 0;
    double surprise = 0;      ///< -ln of the probability that noise alone does this in one frame
    double energy = 0;        ///< full scale squared times seconds, above what is usual there
    double bands_share = 0;   ///< of the bands from 500 Hz up, in which it stands
    double length_s = 0;
};

struct Bursts {
    std::vector<Burst> events;       ///< ascending time; noise alone makes `expected_by_chance` of them
    double expected_by_chance = 0;
    double duration_s = 0;
    double usual_mean_square = 0;    ///< of the noise between them, 500 Hz up
};

/// How bursts are looked for.
struct BurstSearch {
    double from_hz = 500.0, to_hz = 20000.0;
    double frame_s = 0.0027;
    /// events that noise alone makes in a stretch: three and more are then there by chance in one stretch of a thousand
    double expected_by_chance = 0.18;
};

/// Bursts in a stretch of sound: short frames, each bin against its own median over time (a steady line is then always at
/// its usual), all bins averaged, against the median of the half second round it. How far that average strays in noise
/// is read from its own middle quantiles: a gamma law with as many degrees of freedom as they show.
Bursts find_bursts(std::span<const double> samples, double sample_rate_hz, const BurstSearch& search = {});

/// The even spacing of events [s], where most follow each other by it; nothing where they come at odd times.
std::optional<double> even_spacing(const std::vector<Burst>& events);

}  // namespace hushtrace
