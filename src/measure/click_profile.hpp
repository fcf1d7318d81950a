#pragma once
#include <span>
#include <vector>

#include "hushtrace/measure/impulse_train.hpp"

/// A train of clicks, turn by turn: how its power lies over the turn, and which turns hold a click.
namespace hushtrace {

/// Rate at which the power of clicks is kept.
inline constexpr double kClickPowerRate_hz = 2000.0;

/// The mean power at each phase of the train: [24 phases, or more where a turn is long], and the spread of one phase's mean.
struct ClickProfile {
    std::vector<double> power;
    double sd = 0;
};
ClickProfile click_profile(std::span<const double> power, double rate_hz, const Track& track);

/// The track, turned until a long train's clicks keep one phase of it.
///   envelope  of mean zero
Track phase_locked(std::span<const double> envelope, double rate_hz, const Track& track);

/// The train's clicks come once in so many of its turns: 1 where most turns hold one.
///
/// A comb of a multiple of the true rate has power on all its lines as well, but most of its turns are empty. The turns
/// are dealt out to 2, 3, 5 ... hands: where one hand holds the clicks and the others together hold less than a quarter
/// of what it does (upper bound, two standard deviations of what lies between clicks), the train is one of that fraction
/// of the rate; and so on with the hand that holds them.
///   power  above 2 kHz, `rate_hz` values a second
int turns_a_click(std::span<const double> power, double rate_hz, const Track& track, const std::vector<double>& profile);

/// The train's clicks come so many times in each of its turns, evenly, though one of them is stronger: an engine one of whose
/// coils differs. Each of those places must hold clicks, and what lies between must not.
int clicks_a_turn(std::span<const double> power, double rate_hz, const Track& track, const std::vector<double>& profile, double most_hz);

/// The track of a clock's train: one rate, by the line of least squares through its clicks' times, a hundred times finer than
/// the track; the track itself where the clicks stray from such a line by more than half a millisecond and 0.4 % of a turn.
Track steadied(std::span<const double> power, double rate_hz, const Track& track, const std::vector<double>& profile);

/// Phases of the profile at which its clicks sound: 3 dB over what lies between clicks, at most half of all.
std::vector<bool> loud_phases(const std::vector<double>& profile);

}  // namespace hushtrace
