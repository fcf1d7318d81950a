#include <cmath>
#include <numbers>

#include "drive.hpp"
#include "machinery.hpp"

namespace hushtrace::simulated {
namespace {

using Net = GroundNetwork;

constexpr double device_feed_ohm =
    0.3;  // impedance over which a device's capacitors draw ripple from the line
constexpr double substitute_noise_v = 3e-6;  // rms of a portable player, whole band

double dot(const Net::PerDrive& a, const Net::PerDrive& b) {
    double sum = 0;
    for (std::size_t d = 0; d < a.size(); ++d) sum += a[d] * b[d];
    return sum;
}

}  // namespace

void TestDrive::step(double interface_output, std::span<double> readings_v) {
    Machinery& parts = *parts_;
    parts.engine.advance();
    double line_a = parts.alternator.advance(parts.engine);
    double dash_a = 0;
    for (Load& load : parts.loads) {
        const double change = load.advance();
        line_a -= change;
        dash_a += load.part().dash_share * change;
    }
    double spark = 0;
    if (parts.ignition) {
        spark = parts.ignition->advance(parts.engine);
        line_a -= scenario_.vehicle.ignition->pulse_a * spark;
        spark = parts.spark_delay.next(scenario_.vehicle.ignition->pulse_lead_v * spark);
    }
    parts.supply.advance(line_a, wiring_.feed_connected);
    const double line_v = parts.supply.voltage();

    Net::PerDrive drive{};
    drive[Net::feed_current] = parts.supply.feed_a();
    drive[Net::dash_current] = parts.dash_delay.next(dash_a);
    drive[Net::body_voltage] = 1e-3 * scenario_.vehicle.body_mohm * parts.supply.feed_a();
    if (scenario_.source.antenna)
        drive[Net::antenna_voltage] = 1e-3 * scenario_.source.antenna->base_mohm * parts.supply.feed_a();
    if (device_) {
        const auto which = static_cast<std::size_t>(device_ - scenario_.devices.data());
        drive[Net::socket_voltage] =
            1e-3 * device_->socket_ground_mohm * line_v / device_feed_ohm + parts.hashes[which].advance();
    }
    if (set_.conditions.laptop == LaptopPower::mains) {
        const double mains = parts.mains.advance();
        drive[Net::leakage_current] = 1e-6 * scenario_.laptop.leakage_ua * mains;
        drive[Net::earth_voltage] = 1e-3 * scenario_.laptop.earth_difference_mv * mains;
    }

    const auto& grounds = wiring_.grounds;
    const double around_shield =
        dot(grounds.shield_voltage, drive) + wiring_.loop_mutual_h * parts.supply.feed_slope();
    const double shield_a = parts.shield.next(around_shield / wiring_.shield_total_ohm);
    const auto potential = [&](Net::Node node) {
        return dot(grounds.potential[node], drive) + grounds.per_shield_amp[node] * shield_a;
    };
    const double in_series =
        wiring_.shield_drop_ohm * shield_a + wiring_.lead_mutual_h * parts.supply.feed_slope();
    const double pickup = parts.pickup_delay.next(in_series) +
                          wiring_.core_ohm * wiring_.stray_f * parts.supply.voltage_slope() + spark;
    const double along_y_lead =
        wiring_.reads_from ? potential(*wiring_.reads_from) - potential(Net::interface_ground) : 0.0;

    double line_in_v = 0, aux_noise_v = 0;
    if (set_.interface_feeds_source) {
        line_in_v = interface_output * scenario_.interface.output_full_scale_v * std::numbers::sqrt2 +
                    potential(Net::interface_ground) - potential(Net::source_case);
    }
    if (device_) {
        const double around = drive[Net::socket_voltage] - potential(Net::source_case);
        aux_noise_v = around * device_->aux_shield_ohm / (device_->aux_shield_ohm + device_->link_ohm);
    }
    std::array<double, 2> from_source =
        parts.source.advance(line_in_v, aux_noise_v, wiring_.source_has_supply ? line_v : 0.0);

    const auto at_lead_end = [&](bool right, OnePole& isolator) {
        double signal = 0;
        if (wiring_.source_substituted)
            signal = substitute_noise_v * parts.random.gaussian();
        else if (wiring_.source_connected)
            signal = wiring_.signal_gain * from_source[right ? 1 : 0];
        if (wiring_.isolated) signal = isolator.next(signal);
        return signal + pickup * (right ? scenario_.lead.right_over_left : 1.0);
    };
    std::array<double, 2> at_speaker{};
    if (wiring_.at_output) {
        // What flows into the input's shell drops a part of its voltage behind the plug.
        const double shell_v = potential(Net::lead_shell) - potential(Net::amplifier_ground);
        const AmplifierPart& amplifier = scenario_.amplifier;
        const double behind_plug = parts.pin1_delay.next(
            wiring_.lead_on_shell ? shell_v * amplifier.pin1_ohm / amplifier.shell_to_ground_ohm : 0.0);
        std::array<double, 2> input{};
        for (std::size_t side = 0; side < 2; ++side)
            input[side] =
                (wiring_.input_shorted ? 0.0 : at_lead_end(side == 1, parts.isolators[side])) + behind_plug;
        at_speaker = parts.amplifier.advance(input, parts.supply.terminal_voltage());
        add_speaker_leads(along_y_lead, at_speaker);
    }

    for (std::size_t c = 0; c < readings_v.size(); ++c) {
        const Channel channel = set_.channels[c];
        if (channel == Channel::supply) {
            readings_v[c] = line_v;
            continue;
        }
        if (channel == Channel::supply_current) {
            readings_v[c] = parts.supply.feed_a() / *scenario_.interface.amps_per_volt;
            continue;
        }
        const bool right = channel == Channel::right;
        if (wiring_.at_output)
            readings_v[c] = output_pad_ * at_speaker[right ? 1 : 0];
        else
            readings_v[c] = at_lead_end(right, parts.isolators[c]) + along_y_lead;
        if (wiring_.inputs_shorted) readings_v[c] = 0.0;
    }
}

void TestDrive::add_speaker_leads(double along_y_lead, std::array<double, 2>& at_speaker) {
    Machinery& parts = *parts_;
    double induced = 0, right_over_left = 1;
    if (scenario_.speaker_leads) {
        const bool feed = scenario_.speaker_leads->beside_feed;
        const double slope = feed ? parts.supply.feed_slope() : parts.supply.battery_slope();
        induced = parts.speaker_delay.next(wiring_.speaker_mutual_h * slope);
        right_over_left = scenario_.speaker_leads->right_over_left;
    }
    const double grounds = parts.output_ground_delay.next(along_y_lead);
    at_speaker[0] += induced + grounds;
    at_speaker[1] += induced * right_over_left + grounds;
}

}  // namespace hushtrace::simulated
