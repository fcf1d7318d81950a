#pragma once
#include <array>
#include <complex>
#include <cstdint>
#include <vector>

#include "engine.hpp"
#include "random.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// The alternator's ripple current: lines at multiples of its phase frequency p r N / 60, as many as fit
/// below half the sample rate, levels by circuit_formulas.hpp.
class Alternator {
public:
    Alternator(const AlternatorPart& part, double sample_rate_hz, double sample_period_s);

    void set_load(double wanted_a) { wanted_a_ = wanted_a; }
    /// Ripple [A] at the engine's present position; what is above and below the mean output.
    double advance(const EngineMotion& engine);
    /// What it delivers at this speed, and the battery need not [A].
    double output_a(double rpm) const;

private:
    void control(double rpm);

    AlternatorPart part_;
    double rate_hz_, period_s_;
    double wanted_a_ = 0;
    std::uint64_t count_ = 0;
    double phase_rev_ = 0;  ///< of the stator's field, mean over a firing
    double regulator_rev_ = 0;
    /// Peaks [A] of orders 1, 2, 3, 4 and 6, 12, .. 60, and their rise per sample.
    static constexpr std::size_t low_orders = 4, pulse_orders = 10;
    std::array<double, low_orders + pulse_orders> peak_a_{}, rise_a_{};
};

}  // namespace hushtrace::simulated
