#include "contact.hpp"

#include <algorithm>
#include <cmath>

#include "engine.hpp"

namespace hushtrace::simulated {
namespace {

constexpr double wander_s = 1.5;  // how long a joint remembers its own state; usual, no source
constexpr double event_spread =
    0.7;  // of the logarithm, sd: a movement changes the resistance by 6 dB; no source

}  // namespace

BadContact::BadContact(const ContactPart& part, double sample_period_s, std::uint64_t seed)
    : part_(part),
      spread_(std::sqrt(std::log1p(std::pow(0.01 * part.wander_percent, 2)))),
      event_chance_(part.events_per_minute / 60.0 * sample_period_s * static_cast<double>(control_period)),
      random_(seed, 1001),
      wander_(wander_s, sample_period_s * static_cast<double>(control_period)) {
    wander_.settle(random_);
    ohm_ = drawn_ohm();
}

// A lognormal's mean is exp(m + s^2 / 2) and its relative variance exp(s^2) - 1.
double BadContact::drawn_ohm() {
    return part_.ohm * jump_ * std::exp(spread_ * wander_.next(random_) - 0.5 * spread_ * spread_);
}

double BadContact::advance() {
    if (count_++ % control_period == 0) {
        if (random_.uniform() < event_chance_)
            jump_ = std::exp(event_spread * random_.gaussian() - 0.5 * event_spread * event_spread);
        step_ohm_ = (drawn_ohm() - ohm_) / static_cast<double>(control_period);
    }
    ohm_ = std::max(0.0, ohm_ + step_ohm_);
    return ohm_;
}

TwoShields::TwoShields(const Circuit& circuit, double sample_rate_hz)
    : circuit_(circuit), rate_hz_(sample_rate_hz) {}

// Trapezoidal rule in the sum of the currents: good for a resistance that changes. Where the inductance is
// next to nothing beside the resistance it counts as a little more, or the rule would ring at half the sample
// rate.
std::array<double, 2> TwoShields::advance(double around_v, const std::array<double, 2>& contact_ohm) {
    const double left = circuit_.each_ohm + contact_ohm[0], right = circuit_.each_ohm + contact_ohm[1];
    const double apart = circuit_.apart_ohm, sum = left + right + 2.0 * apart;
    const double ohm = circuit_.common_ohm + (left * right + 0.5 * apart * (left + right)) / sum;
    const double reactance = std::max(2.0 * rate_hz_ * circuit_.henry, ohm / 32.0);
    const double sum_a = (around_v + kept_v_) / (ohm + reactance);
    kept_v_ = around_v - ohm * sum_a + reactance * sum_a;
    return {sum_a * (right + apart) / sum, sum_a * (left + apart) / sum};
}

}  // namespace hushtrace::simulated
