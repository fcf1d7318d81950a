#include "engine.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace::simulated {
namespace {

constexpr double cranking_rpm = 220;  // common practice, no source
constexpr double idle_rise_rpm_per_a = 0.8;

}  // namespace

EngineMotion::EngineMotion(const VehiclePart& vehicle, double sample_period_s, std::uint64_t seed)
    : part_(vehicle.engine),
      cylinders_(vehicle.cylinders),
      firings_per_rev_(vehicle.strokes == 4 ? vehicle.cylinders / 2.0 : vehicle.cylinders),
      period_s_(sample_period_s),
      random_(seed, 101),
      quick_(0.3, sample_period_s * control_period),
      slow_(3.0, sample_period_s * control_period) {
    quick_.settle(random_);
    slow_.settle(random_);
}

void EngineMotion::set_state(Engine state, std::optional<double> rpm, double extra_load_a) {
    state_ = state;
    wanted_rpm_ = rpm;
    extra_load_a_ = extra_load_a;
    sweep_time_s_ = 0;
    turns_ = engine_turns(state);
    count_ = 0;
    if (!turns_) {
        rpm_ = step_rev_ = swing_rev_ = rpm_slope_ = 0;
        fired_.reset();
        return;
    }
    rpm_ = target_rpm();
}

double EngineMotion::target_rpm() const {
    if (wanted_rpm_) return *wanted_rpm_;
    const double idle = part_.idle_rpm + idle_rise_rpm_per_a * extra_load_a_;
    switch (state_) {
        case Engine::cranking:
            return cranking_rpm;
        case Engine::raised:
            return part_.raised_rpm;
        case Engine::sweep: {
            const double place = std::fmod(sweep_time_s_, part_.sweep_s) / part_.sweep_s;
            const double rise = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * place);
            return idle + rise * (part_.sweep_top_rpm - idle);
        }
        default:
            return idle;
    }
}

void EngineMotion::control() {
    const double step_s = period_s_ * static_cast<double>(control_period);
    sweep_time_s_ += step_s;
    const bool at_idle = state_ == Engine::idle || state_ == Engine::cranking;
    const double wander_percent = at_idle ? part_.idle_wander_percent : part_.held_wander_percent;
    const double wander = 0.6 * quick_.next(random_) + 0.8 * slow_.next(random_);  // rms 1 together
    const double next = target_rpm() * (1.0 + 0.01 * wander_percent * std::clamp(wander, -3.0, 3.0));
    rpm_slope_ = (next - rpm_) / static_cast<double>(control_period);
}

void EngineMotion::advance() {
    fired_.reset();
    if (!turns_) return;
    if (count_++ % control_period == 0) control();
    rpm_ += rpm_slope_;
    step_rev_ = rpm_ / 60.0 * period_s_;
    firing_phase_ += step_rev_ * firings_per_rev_;
    if (firing_phase_ >= 1.0) {
        firing_phase_ -= 1.0;
        fired_ = firing_phase_ / (step_rev_ * firings_per_rev_);
        cylinder_ = (cylinder_ + 1) % cylinders_;
    }
    // Angle whose rate is 1 + ripple cos(firing angle): the torque's kick weighs less the faster the shaft
    // turns.
    const double ripple =
        0.01 * part_.firing_ripple_percent * std::min(1.0, std::pow(part_.idle_rpm / rpm_, 2.0));
    const double angle = 2.0 * std::numbers::pi;
    swing_rev_ = ripple / (angle * firings_per_rev_) * std::sin(angle * firing_phase_);
}

}  // namespace hushtrace::simulated
