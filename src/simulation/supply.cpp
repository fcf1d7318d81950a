#include "supply.hpp"

#include "wiring.hpp"

namespace hushtrace::simulated {
namespace {

/// Battery, feed and capacitors in a ring.
struct Ring {
    explicit Ring(const Scenario& scenario)
        : battery_ohm(1e-3 * scenario.vehicle.battery_mohm),
          battery_h(1e-6 * scenario.vehicle.battery_uh),
          capacitor_ohm(1e-3 * scenario.amplifier.capacitor_mohm),
          farad(1e-3 * scenario.amplifier.capacitor_mf),
          ohm(battery_ohm + feed_ohm(scenario.feed) +
              1e-3 * (scenario.amplifier.capacitor_mohm + scenario.amplifier.ground_mohm +
                      scenario.vehicle.body_mohm)),
          henry(battery_h + feed_h(scenario.feed, scenario.lead.above_metal_m)) {}
    double battery_ohm, battery_h, capacitor_ohm, farad, ohm, henry;
};

SecondOrder feed_share(const Ring& ring, double sample_rate_hz) {
    return {0.0,           ring.farad * ring.battery_ohm, ring.farad * ring.battery_h,
            1.0,           ring.farad * ring.ohm,         ring.farad * ring.henry,
            sample_rate_hz};
}

/// The same share times what it meets at the capacitors: (Rb + s Lb) (1 + s C Rc) over the ring's own.
SecondOrder terminal_impedance(const Ring& ring, double sample_rate_hz) {
    const double tau_s = ring.farad * ring.capacitor_ohm;
    return {ring.battery_ohm,       ring.battery_h + tau_s * ring.battery_ohm,
            tau_s * ring.battery_h, 1.0,
            ring.farad * ring.ohm,  ring.farad * ring.henry,
            sample_rate_hz};
}

}  // namespace

Supply::Supply(const Scenario& scenario, double sample_rate_hz)
    : battery_ohm_(1e-3 * scenario.vehicle.battery_mohm),
      battery_h_(1e-6 * scenario.vehicle.battery_uh),
      share_(feed_share(Ring(scenario), sample_rate_hz)),
      terminal_(terminal_impedance(Ring(scenario), sample_rate_hz)),
      battery_(sample_rate_hz),
      feed_(sample_rate_hz),
      slope_(sample_rate_hz) {}

void Supply::advance(double current_a, bool feed_connected) {
    const double feed_a = share_.next(feed_connected ? current_a : 0.0);
    battery_.push(current_a - feed_a);
    feed_.push(feed_a);
    voltage_ = battery_ohm_ * battery_.value() + battery_h_ * battery_.slope();
    slope_.push(voltage_);
    terminal_voltage_ = terminal_delay_.next(terminal_.next(feed_connected ? current_a : 0.0));
}

}  // namespace hushtrace::simulated
