#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/measure/tone_place.hpp"
#include "hushtrace/measure/transfer.hpp"
#include "hushtrace/signal/tone.hpp"

namespace hushtrace {

/// A level over an octave.
struct BandLevel {
    Reading level_db;
    double centre_hz = 0;
};
/// Mean level [dB] over the octave round a frequency; nothing where fewer than half of its points are seen.
std::optional<BandLevel> octave_level(std::span<const TransferPoint> transfer, double centre_hz);
/// The level that stands for a channel: at 1 kHz where it passes that (within 10 dB of its loudest octave), else in its
/// loudest octave. Nothing for a channel in which nothing is seen.
std::optional<BandLevel> passband_level(std::span<const TransferPoint> transfer);

/// One captured channel as the path from what was played.
struct ChannelPath {
    std::span<const TransferPoint> transfer;
    double around_s = 0;  ///< its delay, roughly
};

/// Delay, polarity and level of one channel against another (or against what was played).
struct ChannelDifference {
    std::optional<DelayFit> delay;  ///< positive: the channel comes later; nothing when the two share no half octave
    std::optional<BandLevel> balance;  ///< level above the other's, in the octave that both pass best
};
/// The two must stem from one capture, so that the player's start and clock drop out of the difference.
///   source  delay by the phase's slope; filters' own delay taken off by minimum phase (transfer.hpp)
ChannelDifference compare(const ChannelPath& channel, const ChannelPath& reference);
/// The same against the played tone: the delay holds what the tone's place in the capture is unsure by.
std::optional<DelayFit> delay_after_tone(const ChannelPath& channel, const TonePlace& place);

/// Which captured channels carry a tone that one output alone plays.
struct ChannelRoles {
    std::optional<std::size_t> loudest;
    std::vector<bool> carries;  ///< within 12 dB of the loudest, in octaves
    std::vector<bool> silent;   ///< nothing of the tone is seen at all
};
ChannelRoles roles_of(std::span<const ChannelPath> channels);

/// What of a channel's tone is heard in another one, against the channel that carries it.
struct Crosstalk {
    Transfer transfer;
    std::optional<Reading> at_1khz_db, at_10khz_db;  ///< third-octave means; limited_by noise where that covers it
};
Crosstalk crosstalk_of(std::span<const TransferPoint> quiet, std::span<const TransferPoint> carrying);

/// Transfer from polarity pulses (one-sided raised cosines, all positive): each pulse is divided by the played one, and
/// the scatter among pulses is the noise. From 16 Hz to 0.7 of the pulse's -6 dB bandwidth (1/width).
///   tone_s   how long the pulses played, by the player's clock
///   throws   Error invalid_request for pulses wider than half their spacing; too_short with fewer than 3 pulses;
///            not_finite
Transfer measure_pulse_response(std::span<const double> samples, double sample_rate_hz, const PolarityPulse& played,
                                const TonePlace& place, double tone_s);

}  // namespace hushtrace
