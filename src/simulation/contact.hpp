#pragma once
#include <array>
#include <cstdint>

#include "random.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// The extra resistance of a bad joint: it wanders slowly by itself and jumps when something moves. Its mean
/// is the file's; it is never negative (the logarithm wanders, so that a joint may also open far beyond its
/// mean).
class BadContact {
public:
    BadContact(const ContactPart& part, double sample_period_s, std::uint64_t seed);
    /// [ohm], one sample on.
    double advance();

private:
    double drawn_ohm();

    ContactPart part_;
    double spread_, event_chance_;
    Random random_;
    Wander wander_;
    double jump_ = 1, ohm_, step_ohm_ = 0;
    std::uint64_t count_ = 0;
};

/// The shields of left and right lead, once a joint has made them unlike. Each ends on an input shell of its
/// own at the amplifier; at the source both sit on one jack plate. They lie together and share their flux, so
/// the inductance acts on the sum of their currents, and the difference meets resistances alone.
///
/// With E around the loop, Z of the grounds and the source's shell in common, a = shield and joint of one
/// side, and d between each shell and what the shells have in common:
///   E - Z (I1 + I2) - L d(I1 + I2)/dt = a1 I1 + d (I1 - I2) / 2 = a2 I2 - d (I1 - I2) / 2
class TwoShields {
public:
    struct Circuit {
        double common_ohm = 1e9;  ///< Z
        double each_ohm = 0;      ///< a without the joint
        double apart_ohm = 0;     ///< d
        double henry = 0;         ///< L
    };
    TwoShields(const Circuit& circuit, double sample_rate_hz);
    /// Currents [A] from source to amplifier, left and right.
    ///   around_v      E [V]
    ///   contact_ohm   the joint's resistance in each shield
    std::array<double, 2> advance(double around_v, const std::array<double, 2>& contact_ohm);
    const Circuit& circuit() const { return circuit_; }

private:
    Circuit circuit_;
    double rate_hz_, kept_v_ = 0;
};

}  // namespace hushtrace::simulated
