#pragma once
#include <cstdint>
#include <optional>

#include "hushtrace/signal/conditions.hpp"
#include "random.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// How often slow quantities (speed, amplitudes) are worked out anew [samples]; between them they run
/// straight.
constexpr std::uint64_t control_period = 32;

/// The crankshaft: a target speed by the engine's state, a slow random wander about it, and the ripple of the
/// single firings, which speed the shaft up and slow it down once each.
class EngineMotion {
public:
    EngineMotion(const VehiclePart& vehicle, double sample_period_s, std::uint64_t seed);

    /// `extra_load_a` is what switched loads add: the controller raises the idle by some 0.8 rpm an ampere.
    void set_state(Engine state, std::optional<double> rpm, double extra_load_a);

    bool turns() const { return turns_; }
    /// Moves on by one sample.
    void advance();

    double rpm() const { return rpm_; }  ///< mean over a firing [1/min]
    double revolutions_per_sample() const { return step_rev_; }
    /// What the firings add to the mean crank angle just now [revolutions].
    double firing_swing_rev() const { return swing_rev_; }
    /// Set by advance() when a cylinder fired within the last sample: how long ago, in samples (0..1).
    std::optional<double> fired_samples_ago() const { return fired_; }
    int cylinder() const { return cylinder_; }  ///< which one fired last
    double firings_per_revolution() const { return firings_per_rev_; }

private:
    double target_rpm() const;
    void control();

    const EnginePart part_;
    int cylinders_;
    double firings_per_rev_, period_s_;
    Random random_;
    Wander quick_, slow_;
    Engine state_ = Engine::off;
    std::optional<double> wanted_rpm_;
    double extra_load_a_ = 0, sweep_time_s_ = 0;
    bool turns_ = false;
    std::uint64_t count_ = 0;
    double rpm_ = 0, rpm_slope_ = 0, step_rev_ = 0, firing_phase_ = 0, swing_rev_ = 0;
    std::optional<double> fired_;
    int cylinder_ = 0;
};

}  // namespace hushtrace::simulated
