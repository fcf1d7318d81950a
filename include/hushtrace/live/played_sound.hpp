#pragma once
#include <cstdint>
#include <optional>
#include <span>

#include "hushtrace/signal/tone.hpp"

namespace hushtrace {

/// Loudest level that plays unless the user allows more [dBFS]. A quarter of full scale: common practice, no
/// source.
inline constexpr double usual_max_level_dbfs = -12.0;

/// Refuses a waveform that would go above what the user allowed. Its peak counts: no sample may exceed that
/// of a sine at `max_level_dbfs`.
///   throws Error invalid_request with the highest level that would do; also for a limit above 0 dBFS, and
///   whatever ToneGenerator refuses
void require_allowed(const Waveform& waveform, double max_level_dbfs, double sample_rate_hz);

/// The waveform, its levels lowered together where its peak is above the limit.
Waveform lowered_to(Waveform waveform, double max_level_dbfs);

/// A tone as it is played into a vehicle: it starts quiet, has no edges, and never exceeds the allowed peak.
///
/// Endless tones (sine, two tones, pink, pulses, near-silence) begin 40 dB down behind a 50 ms ramp, stay
/// there for half a second, in which a hand can pull the lead, and are at their level after one second. A
/// sweep and steps can't grow while they run, so half a second of sine, 40 dB down, announces them; a pause
/// of half a second follows, then they play once between ramps of 50 ms. All ramps are raised cosines, the
/// climb one in decibels.
///
/// In bursts an endless tone, once it has its level, sounds for `burst_s`, then stays 40 dB down for as long, and so on:
/// a ten-thousandth of the power, in which coils cool, and still no silence for which a source would mute.
class PlayedSound {
public:
    /// throws Error invalid_request as require_allowed; for a burst outside shortest_burst_s to longest_burst_s, and for
    /// bursts of a sound that plays once
    PlayedSound(const Waveform& waveform, double max_level_dbfs, double sample_rate_hz, std::optional<double> burst_s = std::nullopt);
    void render(std::span<double> into);
    /// Ramps down within 100 ms from here on and is silent thereafter.
    void release();
    /// Whether nothing but zeros will come: released and ramped down, or played to its end.
    bool over() const;
    /// From the first sample until the tone has its level [s]: 1.0.
    static constexpr double lead_s = 1.0;
    static constexpr double shortest_burst_s = 1.0, longest_burst_s = 10.0;

private:
    double announced(double at_s);
    double gain(double at_s) const;
    double burst_gain(double at_s) const;

    ToneGenerator tone_, announcement_;
    double rate_, allowed_peak_;
    std::optional<double> burst_s_;
    double once_s_;  ///< how long it plays once announced; 0 for an endless tone
    std::uint64_t position_ = 0;
    std::optional<std::uint64_t> released_at_;
};

}  // namespace hushtrace
