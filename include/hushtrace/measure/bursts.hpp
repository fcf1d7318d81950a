#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/sound_span.hpp"

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
    std::vector<SoundSpan> left_out;   ///< ascending: nothing was looked for there
    double usual_mean_square = 0;    ///< of the noise between them, 500 Hz up
};

/// How bursts are looked for.
struct BurstSearch {
    double from_hz = 500.0, to_hz = 20000.0;
    double frame_s = 0.0027;
    /// events that noise alone makes in a stretch: three and more are then there by chance in one stretch of a thousand
    double expected_by_chance = 0.18;
    /// such as the clicks of a train that is known: only what stands 9 dB over nine of ten frames there is a burst then
    std::vector<SoundSpan> left_out;
};

/// Bursts in a stretch of sound: short frames, each bin against its own median over time (a steady line is then always at
/// its usual), all bins averaged, against the median of the half second round it. How far that average strays in noise
/// is read from its own middle quantiles: a gamma law with as many degrees of freedom as they show.
Bursts find_bursts(std::span<const double> samples, double sample_rate_hz, const BurstSearch& search = {});

/// Bursts that come evenly.
struct EvenBursts {
    double rate_hz = 0, rate_sd_hz = 0;
    std::vector<bool> on_beat;   ///< [events]
    bool mostly_filled() const { return filled >= 0.5; }
    double filled = 0;           ///< share of the turns between the first and the last of those that hold one
};

/// The rate to whose turns events keep: nothing where they come at odd times. Where most turns hold none, that is no rate
/// of clicks, and yet they aren't odd: such as those of a faint train that reach over the noise. The rate may drift
/// evenly by 2 %, or stray from one to the next by 4 %. Other events may lie between.
///
/// Of all rates from 0.5 to 60 a second that one counts whose events' phases surprise most (a binomial tail, less what
/// the number of rates tried allows; 1 in 1000 by chance). Multiples of it leave most of their turns empty, fractions most events out.
///   left_out  ascending: turns whose burst would lie there count neither as filled nor as empty
std::optional<EvenBursts> even_bursts(const std::vector<Burst>& events, const std::vector<SoundSpan>& left_out = {});

}  // namespace hushtrace
