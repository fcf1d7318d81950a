#include "meters.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "source.hpp"
#include "wiring.hpp"

namespace hushtrace::simulated {
namespace {

constexpr double battery_strap_mohm = 0.4;  // body to battery negative; usual size, no source
constexpr double meter_ohm = 1e7;

}  // namespace

double shell_to_amplifier_ground_v(const Scenario& scenario, const DirectCurrents& currents) {
    const double case_v = 1e-3 * scenario.source.ground_mohm * currents.dash_a;
    return case_v * meter_ohm / (meter_ohm + scenario.source.shell_to_case_ohm);
}

double ground_drop_v(const Scenario& scenario, const DirectCurrents& currents) {
    const double own_mohm = scenario.amplifier.ground_mohm + scenario.vehicle.body_mohm;
    return 1e-3 * (own_mohm * currents.amplifier_a + battery_strap_mohm * currents.vehicle_a);
}

double supply_drop_v(const Scenario& scenario, const DirectCurrents& currents) {
    return feed_ohm(scenario.feed) * currents.amplifier_a;
}

// The static law over one period, at as many points as no harmonic that matters escapes; the coupling
// capacitor takes the mean away. Cross-talk and noise lie far below what a meter shows.
double source_output_v(const Scenario& scenario, double volume, bool by_line_input, double joint_ohm,
                       double frequency_hz, double level_dbfs) {
    const SourcePart& source = scenario.source;
    double peak = std::pow(10.0, level_dbfs / 20.0);
    if (by_line_input)
        peak = std::min(1.0, peak * scenario.interface.output_full_scale_v / source.line_full_scale_v);
    const double volts_peak = peak * source.full_scale_v * std::numbers::sqrt2 * volume_gain(source, volume) *
                              std::pow(10.0, source.channels[0].gain_db / 20.0);
    const RailLaw law = rail_law(source, 0);
    constexpr int points = 8192;
    double mean = 0, square = 0;
    for (int i = 0; i < points; ++i) {
        const double volts = law.value(volts_peak * std::sin(2.0 * std::numbers::pi * (i + 0.5) / points));
        mean += volts / points;
        square += volts * volts / points;
    }
    const double through_capacitor = 1.0 / std::hypot(1.0, 1.5 / frequency_hz);
    const double divider =
        scenario.amplifier.input_ohm / (scenario.amplifier.input_ohm + source.output_ohm + joint_ohm);
    return std::sqrt(std::max(0.0, square - mean * mean)) * through_capacitor * divider;
}

}  // namespace hushtrace::simulated
