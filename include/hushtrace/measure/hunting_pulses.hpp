#pragma once
#include <optional>
#include <span>
#include <vector>

namespace hushtrace {

/// Pulses whose rate hunts from one to the next: a renewal process, as of a converter that skips pulses.
struct HuntingPulses {
    double rate_hz = 0, rate_sd_hz = 0;
    double width_hz = 0;        ///< of the hump at the rate, at half its height; about its n-th multiple n^2 times that
    double above_db = 0;        ///< the hump over what lies beside it, in the spectrum of the sound's power
    double surprise = 0;        ///< less what looking everywhere allows
    double recurrence_sd = 0;   ///< standard deviations by which a pulse is likelier one period after another than before or after
    double share = 0;           ///< of the sound's power between low_hz and high_hz that the pulses hold, at least
    double low_hz = 0, high_hz = 0;

    double scatter() const;     ///< of the intervals: standard deviation over their mean
    /// Whether a frequency lies in the hump about a multiple of the rate, where those still stand apart.
    bool holds(double frequency_hz) const;
};

/// Looks for them in the power of the whitened sound: each of its bins is brought to the same level, so that hiss of whatever
/// colour becomes white and Gaussian, whose power has a flat spectrum; lines and narrow humps count for no more than their
/// width. What rings at each pulse, however broadly, makes the power rise and fall at the pulses' rate: a renewal process's
/// hump there (Cox and Lewis 1966, The Statistical Analysis of Series of Events, 4.6), of relative width 2 pi times the
/// squared scatter of the intervals.
///
/// Slow clicks have the same rates among their multiples, but one doesn't follow another after so short a time: told by the
/// power's autocorrelation. A rate that but drifts is told by
/// its phase's memory (phase_memory.hpp).
/// Read over the middle 20 s.
///   returns    nothing for less than 1.5 s, silence, or a rate that leaves less than 2 kHz of band
///   clicks_s   moments of lone clicks: what rings there, beside a loud line, is left out
std::optional<HuntingPulses> find_hunting_pulses(std::span<const double> samples, double sample_rate_hz, double least_surprise,
                                                 const std::vector<double>& clicks_s = {});

}  // namespace hushtrace
