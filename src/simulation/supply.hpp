#pragma once
#include "filters.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// The 12 V line: battery with its cables, and beside it the amplifier's feed with the capacitors at its end.
/// The currents of alternator and consumers meet both; the feed takes
///   I_feed / I = (Rb + s Lb) / (Rb + Rf + Rc + s (Lb + Lf) + 1 / (s C))
/// of the changing part, and the line's voltage is what the rest makes of the battery: (Rb + s Lb) (I -
/// I_feed). At the amplifier's supply terminals, its capacitors', stands I_feed (Rc + 1 / (s C)).
class Supply {
public:
    Supply(const Scenario& scenario, double sample_rate_hz);
    /// `current_a` the changing part of what flows into the line. Results come Differentiator::delay samples
    /// late.
    void advance(double current_a, bool feed_connected);
    double voltage() const { return voltage_; }              ///< of the line, changing part [V]
    double voltage_slope() const { return slope_.slope(); }  ///< [V/s], twice as late
    double feed_a() const { return feed_.value(); }
    double feed_slope() const { return feed_.slope(); }  ///< [A/s]
    double battery_slope() const {
        return battery_.slope();
    }  ///< of the current through the battery's cable [A/s]
    double terminal_voltage() const { return terminal_voltage_; }  ///< at the amplifier, changing part [V]

private:
    double battery_ohm_, battery_h_;
    SecondOrder share_, terminal_;
    Differentiator battery_, feed_, slope_;
    DelayLine terminal_delay_{Differentiator::delay};
    double voltage_ = 0, terminal_voltage_ = 0;
};

}  // namespace hushtrace::simulated
