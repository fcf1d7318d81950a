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
    if (set_.conditions.laptop == LaptopPower::vehicle)
        drive[Net::socket_voltage] += 1e-3 * scenario_.laptop.socket_ground_mohm * line_v / device_feed_ohm;
    if (set_.conditions.laptop == LaptopPower::mains) {
        const double mains = parts.mains.advance();
        drive[Net::leakage_current] = 1e-6 * scenario_.laptop.leakage_ua * mains;
        drive[Net::earth_voltage] = 1e-3 * scenario_.laptop.earth_difference_mv * mains;
    }

    const auto& grounds = wiring_.grounds;
    const double around_shield =
        dot(grounds.shield_voltage, drive) + wiring_.loop_mutual_h * parts.supply.feed_slope();
    double shield_a = 0;
    const std::array<LeadSide, 2> lead = lead_sides(around_shield, shield_a);
    const auto potential = [&](Net::Node node) {
        return dot(grounds.potential[node], drive) + grounds.per_shield_amp[node] * shield_a;
    };
    const bool reads_from_shell = wiring_.reads_from == Net::lead_shell;
    std::array<double, 2> pickup{};
    for (std::size_t side = 0; side < 2; ++side) {
        const double in_series_v = lead[side].series_v + (reads_from_shell ? lead[side].apart_v : 0.0);
        pickup[side] = parts.pickup_delay[side].next(in_series_v) +
                       lead[side].core_ohm * wiring_.stray_f * parts.supply.voltage_slope() + spark;
    }
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
    const SourceOutputs from_source =
        parts.source.advance(line_in_v, aux_noise_v, wiring_.source_has_supply ? line_v : 0.0);

    // `output` is the source's output on that side's lead.
    const auto at_lead_end = [&](bool right, std::size_t output, OnePole& isolator) {
        double signal = 0;
        if (wiring_.source_substituted)
            signal = substitute_noise_v * parts.random.gaussian();
        else if (wiring_.source_connected)
            signal = lead[right ? 1 : 0].signal_gain * from_source[output];
        if (wiring_.isolated) signal = isolator.next(signal);
        return signal + pickup[right ? 1 : 0] * (right ? scenario_.lead.right_over_left : 1.0);
    };
    std::array<double, 2> at_speaker{};
    if (wiring_.at_output) {
        // What flows into the input's shell drops a part of its voltage behind the plug.
        const double shell_v = potential(Net::lead_shell) - potential(Net::amplifier_ground);
        const AmplifierPart& amplifier = scenario_.amplifier;
        const double inside =
            wiring_.lead_on_shell ? amplifier.pin1_ohm / amplifier.shell_to_ground_ohm : 0.0;
        std::array<double, 2> input{};
        for (std::size_t side = 0; side < 2; ++side) {
            if (!wiring_.input_shorted)
                input[side] = at_lead_end(side == 1, scenario_.lead.swapped ? 1 - side : side, parts.isolators[side]);
            input[side] += parts.pin1_delay[side].next(inside * (shell_v + lead[side].apart_v));
        }
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
        const bool right = channel == Channel::right || channel == Channel::rear_right;
        if (wiring_.at_output)
            readings_v[c] = output_pad_ * at_speaker[right ? 1 : 0];
        else
            readings_v[c] = at_lead_end(right, output_on(channel), parts.isolators[c]) + along_y_lead;
        if (wiring_.inputs_shorted) readings_v[c] = 0.0;
    }
}

std::size_t TestDrive::output_on(Channel channel) const {
    const auto& further = scenario_.source.further;
    for (std::size_t i = 0; i < further.size(); ++i)
        if (further[i].channel == channel) return i + 2;
    return (channel == Channel::right) != scenario_.lead.swapped ? 1 : 0;
}

std::array<TestDrive::LeadSide, 2> TestDrive::lead_sides(double around_shield_v, double& shield_a) {
    Machinery& parts = *parts_;
    std::array<double, 2> joint_ohm{};
    if (parts.contact) {
        const double ohm = parts.contact->advance();
        const double beside_link = ohm * wiring_.bridge_ohm / (ohm + wiring_.bridge_ohm);
        for (std::size_t side = 0; side < 2; ++side)
            if (scenario_.lead.contact->sides[side]) joint_ohm[side] = beside_link;
    }
    std::array<LeadSide, 2> sides;
    if (wiring_.shields) {
        const TwoShields::Circuit& circuit = *wiring_.shields;
        const std::array<double, 2> each_a = parts.shields.advance(around_shield_v, joint_ohm);
        shield_a = each_a[0] + each_a[1];
        const double apart_v = 0.5 * circuit.apart_ohm * (each_a[0] - each_a[1]);
        for (std::size_t side = 0; side < 2; ++side) {
            sides[side].series_v = wiring_.shell_in_signal_ohm * shield_a;
            if (wiring_.shield_in_signal)
                sides[side].series_v += (circuit.each_ohm + joint_ohm[side]) * each_a[side];
            sides[side].apart_v = side == 0 ? apart_v : -apart_v;
        }
    } else {
        shield_a = parts.shield.next(around_shield_v / wiring_.shield_total_ohm);
        for (LeadSide& side : sides) side.series_v = wiring_.shield_drop_ohm * shield_a;
    }
    for (std::size_t side = 0; side < 2; ++side) {
        double mutual_h = wiring_.lead_mutual_h;
        sides[side].signal_gain = wiring_.signal_gain;
        sides[side].core_ohm = wiring_.core_ohm;
        if (wiring_.core_joint && joint_ohm[side] > 0) {
            // In series with what ends the core; the reading at the source is taken ahead of it.
            const double input_ohm = scenario_.amplifier.input_ohm,
                         end_ohm = wiring_.end_ohm + joint_ohm[side];
            const double load_ohm = input_ohm + joint_ohm[side];
            const bool at_source = set_.conditions.point == Point::source_output;
            sides[side].signal_gain =
                (at_source ? load_ohm : input_ohm) / (scenario_.source.output_ohm + load_ohm);
            if (!at_source) sides[side].core_ohm = end_ohm * input_ohm / (end_ohm + input_ohm);
            mutual_h = wiring_.lead_emf_h * input_ohm / (end_ohm + input_ohm);
        }
        sides[side].series_v += mutual_h * parts.supply.feed_slope();
    }
    return sides;
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
