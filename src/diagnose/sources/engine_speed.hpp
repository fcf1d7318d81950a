#pragma once
#include <list>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/vehicle/whine_constant.hpp"
#include "noise_parts.hpp"

/// The engine's speed in each take, and where it is known from.
namespace hushtrace {

/// How a followed line keeps to a speed that was read beside it.
struct TrackAgainstSpeed {
    double hz_per_rpm = 0, sd_share = 0;  ///< median of their ratio
    double residual_share = 0;            ///< how far the ratio strays [share, as a standard deviation]
    double speed_wander = 0;              ///< how far the speed itself strays, likewise
    std::optional<double> lag_s;          ///< the log's clock less the take's; unset where it can't be told
    bool follows() const { return speed_wander > 0.003 && residual_share < 0.5 * speed_wander; }
    double least_straying = 1;  ///< that residual against the speed's own straying, at the best lag
    double step_share = 0;      ///< what the log's steps leave open
    bool strays() const { return speed_wander > std::max(0.006, 4.0 * step_share) && least_straying > 0.85; }
};
/// Holds a track against a log whose clock may differ from the take's by up to `most_lag_s`. Nothing where they share
/// fewer than five rows of a turning engine.
std::optional<TrackAgainstSpeed> hold_against(const Track& track, const RpmLog& log, double most_lag_s);

/// What is known of a take's speed without its whine.
struct TakeSpeed {
    std::vector<SpeedGuess> guesses;  ///< a mixture, likeliest first
    std::string from;             ///< of the first guess: "log", "firing", "typed", or empty: by the engine's state
    std::optional<double> lag_s;  ///< of the log
    std::optional<double> firing_hz;     ///< rate of the clicks, where they are the engine's
    std::optional<double> firing_order;  ///< clicks per turn, where one clearly fits best
};
/// throws nothing. `warnings` get rpm_log_contrary where the log and what was typed or fires differ by more than 15
/// %.
TakeSpeed speed_of(const TakeSurvey& survey, const VehicleData& vehicle, std::vector<Warning>& warnings);

/// Clicks per crankshaft turn that the rate of a train may be, with how likely each is before anything is measured:
/// all cylinders, one that differs (each second turn), one coil of pairs (each turn), ...
std::vector<std::pair<double, double>> click_orders(const VehicleData& vehicle);
/// Clicks a second, where they are there.
struct ClickRate {
    double mean_hz = 0, sd_share = 0;
    double from_s = 0, to_s = 0;
    bool stopped = false;  ///< they are there in a part of the take alone
};
ClickRate rate_of_clicks(const TakeSurvey& survey, const ImpulseTrain& clicks);
/// Probability density of ln(speed) before it is read: by what was typed and by the engine's state.
double log_speed_density(double rpm, const Conditions& conditions);
/// Guesses by what was typed, or by the engine's state alone (then the second is true).
std::pair<std::vector<SpeedGuess>, bool> stated_guesses(const Conditions& conditions);

}  // namespace hushtrace
