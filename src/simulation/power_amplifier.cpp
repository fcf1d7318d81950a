#include "power_amplifier.hpp"

#include <cmath>

namespace hushtrace::simulated {
namespace {

double ratio(double decibels) {
    return std::pow(10.0, decibels / 20.0);
}

}  // namespace

PowerAmplifier::PowerAmplifier(const AmplifierPart& part, double sample_rate_hz, std::uint64_t seed)
    : gain_(ratio(part.gain_db)),
      noise_v_(ratio(part.noise_dbv) * std::sqrt(0.5 * sample_rate_hz / 19980.0)),
      rejection_gain_(ratio(-part.supply_rejection_db)),
      rejection_(OnePole::rising_from(part.supply_rejection_corner_hz, sample_rate_hz)),
      rails_(2, Clipper({part.rail_v, -part.rail_v, 0.0, 0.0, 0.0})),
      random_(seed, 901) {}

std::array<double, 2> PowerAmplifier::advance(const std::array<double, 2>& input_v, double terminal_v) {
    const double from_supply = rejection_gain_ * rejection_.next(terminal_v);
    std::array<double, 2> out{};
    for (std::size_t c = 0; c < 2; ++c) {
        const double wanted = gain_ * (input_v[c] + noise_v_ * random_.gaussian()) + from_supply;
        out[c] = rails_[c].next(on_ ? wanted : 0.0);
    }
    return out;
}

}  // namespace hushtrace::simulated
