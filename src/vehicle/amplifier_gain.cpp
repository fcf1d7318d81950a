#include "hushtrace/vehicle/amplifier_gain.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kSquareWave_db = 120.0;  // from here on nothing tells it from the square wave

double place(double at, double from, double to) { return (at - from) / (to - from); }

}  // namespace

// With drive d over a ceiling of 1 the wave is d sin(x) up to x = asin(1/d), then 1. Over a quarter period:
// fundamental's peak (4/pi) [d (x - sin x cos x) / 2 + cos x], mean square (2/pi) [d^2 (x - sin x cos x) / 2 + pi/2 - x].
ClippedSine clip_sine(double over_db) {
    if (!(over_db > 0)) return {};
    const double drive = amplitude_from_decibels(std::min(over_db, kSquareWave_db));
    const double edge = std::asin(1.0 / drive), below = 0.5 * (edge - std::sin(edge) * std::cos(edge));
    const double fundamental = 4.0 / std::numbers::pi * (drive * below + std::cos(edge));
    const double mean_square = 2.0 / std::numbers::pi * (drive * drive * below + 0.5 * std::numbers::pi - edge);
    const double of_fundamental = 0.5 * fundamental * fundamental;
    return {.thd_ratio = std::sqrt(std::max(0.0, mean_square / of_fundamental - 1.0)),
            .fundamental_db = decibels_from_amplitude(fundamental),
            .power_ratio = 2.0 * mean_square};
}

std::optional<double> dial_travel(DialLaw law, double most_sensitive_v, double least_sensitive_v, double sensitivity_v) {
    if (!(most_sensitive_v > 0 && least_sensitive_v > most_sensitive_v && sensitivity_v > 0)) return std::nullopt;
    if (law == DialLaw::linear) return place(1.0 / sensitivity_v, 1.0 / least_sensitive_v, 1.0 / most_sensitive_v);
    if (law == DialLaw::linear_volts) return place(sensitivity_v, least_sensitive_v, most_sensitive_v);
    return place(std::log(sensitivity_v), std::log(least_sensitive_v), std::log(most_sensitive_v));
}

double dial_clock_hours(double travel, double turn_deg) {
    const double hours = std::fmod(12.0 + (travel - 0.5) * turn_deg / 30.0, 12.0);
    return hours > 0 ? hours : hours + 12.0;
}

}  // namespace hushtrace
