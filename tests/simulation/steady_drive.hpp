#pragma once
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>
#include <vector>

#include "scenario_tools.hpp"

/// healthy.json held at one speed: its whine read out of a render, and the currents behind it on paper.
namespace simulation_test {

inline constexpr double rate_hz = 48000;
inline constexpr double tau = 2 * std::numbers::pi;
inline constexpr double rpm = 2000, whine_hz = 6 * 2.6 * rpm / 10;  // healthy.json's pole pairs and ratio

inline hushtrace::SimulatedConditions running(std::vector<hushtrace::Hookup> hookup = {
                                                  hushtrace::Hookup::normal}) {
    hushtrace::SimulatedConditions set;
    set.conditions.engine = hushtrace::Engine::raised;
    set.conditions.rpm = rpm;
    set.conditions.hookup = std::move(hookup);
    set.conditions.volume = 0;
    return set;
}

/// The whine's peak in the left lead [V].
inline double whine_v(hushtrace::SimulatedVehicle& vehicle, const hushtrace::SimulatedConditions& set,
                      double frequency_hz = whine_hz) {
    vehicle.set_conditions(set);
    rendered(vehicle, 0.4);
    return 0.1 * peak_at(rendered(vehicle, 0.6).channel(0), frequency_hz, rate_hz);
}

/// Ripple current of the alternator on paper [A peak]: 18 A engine, 1 A source, 1.6 A amplifier, of which
/// 2/35 is ripple (order 6 of a bridge).
inline double ripple_current() {
    const double light_load_a = 300.0 / (whine_hz / 6), proportional_a = 20.6 * 2.0 / 35.0;
    return std::pow(std::pow(proportional_a, 6) + std::pow(light_load_a, 6), 1.0 / 6);
}
/// What of it flows in the amplifier's feed: battery and feed share it by their impedances.
inline std::complex<double> feed_current(double ground_ohm) {
    const std::complex<double> j(0, 1);
    const double omega = tau * whine_hz;
    const double feed_ohm = 1.7241e-8 * 5.5 / 21.2e-6 * (1 + 0.00393 * 20);
    const double feed_h = 5.5 * 2e-7 * std::acosh(0.01 / (1e-3 * std::sqrt(21.2 / std::numbers::pi)));
    const std::complex<double> battery = 0.008 + j * omega * 0.8e-6;
    const std::complex<double> feed =
        feed_ohm + 0.015 + ground_ohm + 0.0001 + j * omega * feed_h + 1.0 / (j * omega * 6e-3);
    return ripple_current() * battery / (battery + feed);
}

}  // namespace simulation_test
