#pragma once
#include <optional>

#include "hushtrace/signal/conditions.hpp"

/// What the trade knows of an amplifier's gain: its dial, and what a sine too large for its rails becomes.
namespace hushtrace {

/// A sine that asks for more than the rails give, cut off flat at both sides alike.
struct ClippedSine {
    double thd_ratio = 0;        ///< all harmonics against the fundamental
    double fundamental_db = 0;   ///< against the largest sine that isn't cut
    double power_ratio = 1;      ///< into a resistor, against that same sine: 1 unclipped, 2 for the square wave
};
/// Closed form of the Fourier integrals over a quarter period; tests/reference/clipped_sine.csv tabulates the same series.
///   over_db  of the uncut sine over the largest that fits; 0 and below is uncut. Absurdly large: the square wave's limit
ClippedSine clip_sine(double over_db);

/// Where on its dial an amplifier has this sensitivity: 0 at the end of least gain (most volts), 1 at that of most gain;
/// below 0 or above 1 where it lies beyond the ends. Which law a dial has isn't printed on it: an assumption (common practice,
/// no source), good for a first guess, to be confirmed by voltage.
///   logarithmic    equal turns change the gain by equal decibels
///   linear         equal turns add equal amounts of gain: a plain resistance track
///   linear_volts   the dial's volts are spaced evenly
///   returns nothing unless 0 < most_sensitive_v < least_sensitive_v and sensitivity_v > 0
std::optional<double> dial_travel(DialLaw law, double most_sensitive_v, double least_sensitive_v, double sensitivity_v);

/// Dial turn that is assumed where nobody said: from 7 to 5 o'clock (common practice, no source).
inline constexpr double kUsualDialTurn_deg = 300.0;
/// That place as an hour on a clock's face, for a dial that turns the same way to either side of 12: above 0, to 12 [hours].
double dial_clock_hours(double travel, double turn_deg);

}  // namespace hushtrace
