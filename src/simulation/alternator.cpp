#include "alternator.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/simulation/circuit_formulas.hpp"

namespace hushtrace::simulated {
namespace {

/// 1 well below half the sample rate, 0 from 0.46 of it on, straight between: a line leaves before it can
/// fold.
double band_limit(double frequency_hz, double rate_hz) {
    return std::clamp((0.46 * rate_hz - frequency_hz) / (0.03 * rate_hz), 0.0, 1.0);
}

}  // namespace

Alternator::Alternator(const AlternatorPart& part, double sample_rate_hz, double sample_period_s)
    : part_(part), rate_hz_(sample_rate_hz), period_s_(sample_period_s) {}

double Alternator::output_a(double rpm) const {
    // Rises with the rotor's speed towards the rated current, half of it near 2000 rpm (usual curves, from
    // memory).
    const double share = 1.0 - std::exp(-rpm * part_.pulley_ratio / 2800.0);
    double able_a = part_.rated_a * share;
    if (part_.fault == AlternatorFault::diode_open) able_a *= diode_open_orders().output_share;
    if (part_.fault == AlternatorFault::phase_open) able_a *= phase_open_orders().output_share;
    return std::min(wanted_a_, able_a);
}

void Alternator::control(double rpm) {
    const double phase_hz = part_.pole_pairs * part_.pulley_ratio * rpm / 60.0;
    const double output = output_a(rpm);
    std::array<double, low_orders + pulse_orders> wanted{};
    const auto at_order = [&](int order) -> double& {
        return order < 6 ? wanted[static_cast<std::size_t>(order - 1)]
                         : wanted[low_orders + static_cast<std::size_t>(order / 6 - 1)];
    };
    if (part_.fault == AlternatorFault::none) {
        const double first = alternator_ripple_a(output, phase_hz);
        for (int n = 1; n <= static_cast<int>(pulse_orders); ++n) {
            double line =
                first * bridge_line_over_mean(n) / bridge_line_over_mean(1) * (n % 2 == 1 ? 1.0 : -1.0);
            if (part_.sets == 2 && n % 2 == 1)
                line *= part_.set_imbalance;  // the second set lies opposite there
            at_order(6 * n) = line;
        }
        at_order(2) = unbalance_over_mean(part_.phase_unbalance_percent) * output;
        at_order(4) = at_order(2) * std::pow(10.0, (-39.0 + 23.0) / 20.0);
        at_order(3) = output * std::pow(10.0, -49.0 / 20.0);
    } else {
        const FaultOrders fault =
            part_.fault == AlternatorFault::diode_open ? diode_open_orders() : phase_open_orders();
        for (std::size_t i = 0; i < fault.orders.size(); ++i)
            at_order(fault.orders[i]) = fault.over_mean[i] * output;
        for (int n = 3; n <= static_cast<int>(pulse_orders); ++n)
            at_order(6 * n) = at_order(12) * bridge_line_over_mean(n) / bridge_line_over_mean(2);
    }
    for (std::size_t i = 0; i < wanted.size(); ++i) {
        const double order =
            i < low_orders ? static_cast<double>(i + 1) : 6.0 * static_cast<double>(i - low_orders + 1);
        const double target = wanted[i] * band_limit(order * phase_hz, rate_hz_);
        rise_a_[i] = (target - peak_a_[i]) / static_cast<double>(control_period);
    }
}

double Alternator::advance(const EngineMotion& engine) {
    if (!engine.turns()) {
        peak_a_.fill(0.0);
        count_ = 0;
        return 0.0;
    }
    if (count_++ % control_period == 0) control(engine.rpm());
    for (std::size_t i = 0; i < peak_a_.size(); ++i) peak_a_[i] += rise_a_[i];

    const double poles_per_rev = part_.pole_pairs * part_.pulley_ratio;
    phase_rev_ += poles_per_rev * engine.revolutions_per_sample();
    phase_rev_ -= std::floor(phase_rev_);
    const double angle = 2.0 * std::numbers::pi * (phase_rev_ + poles_per_rev * engine.firing_swing_rev());
    const std::complex<double> turn1(std::cos(angle), std::sin(angle));
    const std::complex<double> turn2 = turn1 * turn1, turn3 = turn2 * turn1, turn6 = turn3 * turn3;
    double ripple = peak_a_[0] * turn1.real() + peak_a_[1] * turn2.real() + peak_a_[2] * turn3.real() +
                    peak_a_[3] * (turn2 * turn2).real();
    std::complex<double> turn = turn6;
    for (std::size_t n = 0; n < pulse_orders; ++n) {
        ripple += peak_a_[low_orders + n] * turn.real();
        turn *= turn6;
    }
    if (part_.regulator) {
        regulator_rev_ += part_.regulator->pwm_hz * period_s_;
        regulator_rev_ -= std::floor(regulator_rev_);
        const double chop = std::cos(2.0 * std::numbers::pi * regulator_rev_);
        ripple = ripple * (1.0 + part_.regulator->modulation * chop) + part_.regulator->field_ripple_a * chop;
    }
    return ripple;
}

}  // namespace hushtrace::simulated
