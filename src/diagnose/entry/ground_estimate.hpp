#pragma once
#include <optional>

#include "hushtrace/job/job.hpp"
#include "hushtrace/measure/reading.hpp"
#include "reroute.hpp"

/// The impedance that amplifier and signal share to ground, and what remaking the joint brings. docs/cures.md has the circuit.
namespace hushtrace {

struct GroundSeen {
    std::optional<ChangeSeen> strap;     ///< of a strap from the source's case to the amplifier's ground
    std::optional<double> drop_v;        ///< amplifier's ground terminal to battery negative
    bool drop_at_rest = false;           ///< it was read with engine and loads off: little current in the battery's strap
    std::optional<Reading> shared_mohm;  ///< signal over supply current
};
struct GroundEstimate {
    double low_mohm = 0, middle_mohm = 0, high_mohm = 0;  ///< of the amplifier's ground: 10, 50 and 90 %
    Reading remade_db;                                    ///< change of the loop's noise once it reads 1 milliohm or so
    bool measured = false;                                ///< else it rests on what such joints usually are
};

/// Weighs circuits that are usual in vehicles by what was seen. The noise is driven by the amplifier's supply current through its ground.
///   frequency_hz  of the noise's strongest line; the amplifier's branch of the supply is taken to be a resistance, the cable's inductance and the
///                 amplifier's capacitors in series (from job.supply where it is known)
GroundEstimate estimate_ground(const GroundSeen& seen, const Job& job, double frequency_hz);

/// What a joint reads that is well made [milliohm].
inline constexpr double kGoodGround_mohm = 1.0;

}  // namespace hushtrace
