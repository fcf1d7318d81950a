#pragma once
#include <optional>
#include <span>

#include "hushtrace/measure/channel_comparison.hpp"
#include "hushtrace/measure/transfer.hpp"

namespace hushtrace {

/// What becomes of two channels of one capture when they are added up.
struct ChannelSum {
    double deepest_hz = 0;  ///< where the sum falls furthest below what the two could reach together
    double deepest_db = 0;  ///< how far there (0: in phase), a sixth of an octave averaged in power
    double from_hz = 0, to_hz = 0;  ///< where it lies 6 dB below or more; 0 where it nowhere does
    bool cancels() const { return to_hz > from_hz; }
};
/// Looks where both are within 12 dB of each other.
///   returns nothing where that is less than a third of an octave
std::optional<ChannelSum> sum_of_channels(std::span<const TransferPoint> a, std::span<const TransferPoint> b);

/// The band that a channel passes: where it falls 6 dB below its level, and by 12 dB or more beyond.
struct PassedBand {
    std::optional<double> low_hz, high_hz;  ///< unset where it passes to the end of what was measured
    double measured_from_hz = 0, measured_to_hz = 0;
};
/// Nothing for a channel in which nothing is seen.
std::optional<PassedBand> band_of(std::span<const TransferPoint> transfer);

/// Two channels that share the band between them.
struct BandCrossing {
    double frequency_hz = 0;  ///< where both are as far below their own levels
    double below_db = 0;      ///< by how much
};
/// Nothing where `lower` passes nothing below, or `upper` nothing above the other's edge.
std::optional<BandCrossing> crossing_of(std::span<const TransferPoint> lower, std::span<const TransferPoint> upper);
/// Level of both added up against the louder one, both brought to one level first, in the third of an octave round a
/// frequency [dB]: 6 in phase, 3 a quarter turn apart, far below 0 where they cancel. One capture.
std::optional<double> added_db(std::span<const TransferPoint> a, std::span<const TransferPoint> b, double frequency_hz);

}  // namespace hushtrace
