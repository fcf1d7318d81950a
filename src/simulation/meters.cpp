#include "meters.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "sound_shaping.hpp"
#include "source.hpp"
#include "wiring.hpp"

namespace hushtrace::simulated {
namespace {

constexpr double battery_strap_mohm = 0.4;  // body to battery negative; usual size, no source
constexpr double meter_ohm = 1e7;
constexpr int points = 8192;  // of one period: so many that no harmonic that matters escapes

// One period of a sine of this peak (full scale = 1) as it stands before the left output's rails. What a digital ceiling
// adds in harmonics goes through the output's filters one by one.
std::vector<double> before_rails(const Scenario& scenario, double volume, double frequency_hz, double peak, double volts_at_1) {
    const SourcePart& source = scenario.source;
    const double rate_hz = scenario.interface.sample_rate_hz;
    if (!source.equaliser.empty()) peak *= std::abs(FilterChain(source.equaliser, rate_hz).response(frequency_hz, rate_hz));
    std::vector<FilterPart> later = source.channels[0].filters;
    if (source.volume_bass)
        later.push_back({FilterKind::low_shelf, source.volume_bass->frequency_hz, volume_bass_db(*source.volume_bass, volume),
                         source.volume_bass->q});
    const FilterChain filters(later, rate_hz);
    std::vector<double> period(points);
    const bool clips = source.digital_ceiling_dbfs && peak > std::pow(10.0, *source.digital_ceiling_dbfs / 20.0);
    if (!clips) {
        if (!later.empty()) peak *= std::abs(filters.response(frequency_hz, rate_hz));
        for (int i = 0; i < points; ++i)
            period[static_cast<std::size_t>(i)] =
                volts_at_1 * peak * std::sin(2.0 * std::numbers::pi * (i + 0.5) / points);
    } else {
        // A symmetrical clip of a sine has sines of odd order alone.
        const RailLaw digital = digital_law(*source.digital_ceiling_dbfs);
        for (int order = 1; order < 400 && order * frequency_hz < 0.5 * rate_hz; order += 2) {
            double strength = 0;
            for (int i = 0; i < points; ++i) {
                const double turn = 2.0 * std::numbers::pi * (i + 0.5) / points;
                strength += digital.value(peak * std::sin(turn)) * std::sin(order * turn) * 2.0 / points;
            }
            const std::complex<double> gain = later.empty() ? 1.0 : filters.response(order * frequency_hz, rate_hz);
            for (int i = 0; i < points; ++i)
                period[static_cast<std::size_t>(i)] +=
                    volts_at_1 * strength * std::abs(gain) *
                    std::sin(order * 2.0 * std::numbers::pi * (i + 0.5) / points + std::arg(gain));
        }
    }
    if (source.limiter) {
        const double turned_down =
            Limiter::steady_gain(*source.limiter, *std::max_element(period.begin(), period.end()));
        for (double& volts : period) volts *= turned_down;
    }
    return period;
}

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

// The coupling capacitor takes the mean away. Cross-talk and noise lie far below what a meter shows.
double source_output_v(const Scenario& scenario, double volume, bool by_line_input, double joint_ohm,
                       double frequency_hz, double level_dbfs) {
    const SourcePart& source = scenario.source;
    double peak = std::pow(10.0, level_dbfs / 20.0);
    if (by_line_input)
        peak = std::min(1.0, peak * scenario.interface.output_full_scale_v / source.line_full_scale_v);
    const double volts_peak = source.full_scale_v * std::numbers::sqrt2 * volume_gain(source, volume) *
                              std::pow(10.0, source.channels[0].gain_db / 20.0);
    const RailLaw law = rail_law(source, source.channels[0]);
    double mean = 0, square = 0;
    for (const double before : before_rails(scenario, volume, frequency_hz, peak, volts_peak)) {
        const double volts = law.value(before);
        mean += volts / points;
        square += volts * volts / points;
    }
    const double through_capacitor = 1.0 / std::hypot(1.0, 1.5 / frequency_hz);
    const double divider =
        scenario.amplifier.input_ohm / (scenario.amplifier.input_ohm + source.output_ohm + joint_ohm);
    return std::sqrt(std::max(0.0, square - mean * mean)) * through_capacitor * divider;
}

}  // namespace hushtrace::simulated
