#include "supply.hpp"

#include "wiring.hpp"

namespace hushtrace::simulated {
namespace {

SecondOrder feed_share(const Scenario& scenario, double sample_rate_hz) {
    const double battery_ohm = 1e-3 * scenario.vehicle.battery_mohm,
                 battery_h = 1e-6 * scenario.vehicle.battery_uh;
    const double farad = 1e-3 * scenario.amplifier.capacitor_mf;
    const double ohm = battery_ohm + feed_ohm(scenario.feed) +
                       1e-3 * (scenario.amplifier.capacitor_mohm + scenario.amplifier.ground_mohm +
                               scenario.vehicle.body_mohm);
    const double henry = battery_h + feed_h(scenario.feed, scenario.lead.above_metal_m);
    return {0.0, farad * battery_ohm, farad * battery_h, 1.0, farad * ohm, farad * henry, sample_rate_hz};
}

}  // namespace

Supply::Supply(const Scenario& scenario, double sample_rate_hz)
    : battery_ohm_(1e-3 * scenario.vehicle.battery_mohm),
      battery_h_(1e-6 * scenario.vehicle.battery_uh),
      share_(feed_share(scenario, sample_rate_hz)),
      battery_(sample_rate_hz),
      feed_(sample_rate_hz),
      slope_(sample_rate_hz) {}

void Supply::advance(double current_a, bool feed_connected) {
    const double feed_a = share_.next(feed_connected ? current_a : 0.0);
    battery_.push(current_a - feed_a);
    feed_.push(feed_a);
    voltage_ = battery_ohm_ * battery_.value() + battery_h_ * battery_.slope();
    slope_.push(voltage_);
}

}  // namespace hushtrace::simulated
