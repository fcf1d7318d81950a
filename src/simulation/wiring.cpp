#include "wiring.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/simulation/circuit_formulas.hpp"

namespace hushtrace::simulated {
namespace {

constexpr double shield_h_per_m = 1e-6;     // shield over sheet metal, usual coax (Ott ch. 2: 1 uH/m)
constexpr double link_ohm = 0.02;           // a short fused link
constexpr double strap_ohm = 0.015;         // a heavy strap through the car
constexpr double seat_separation_m = 0.8;   // a lead across the seats, from cables along the sill
constexpr double isolated_feed_ohm = 0.02;  // thin wires from the amplifier's terminals to the source

/// The hookups that say what the source's end of the lead is in: one at most.
constexpr std::array source_end = {Hookup::dummy_floating,      Hookup::termination_1k,
                                   Hookup::termination_10k,     Hookup::shorted_at_source,
                                   Hookup::unplugged_at_source, Hookup::substitute_source};
constexpr std::array source_feed = {Hookup::source_isolated, Hookup::source_on_own_battery};
/// What is in the amplifier's input instead of the lead's core.
constexpr std::array amp_end = {Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp};
constexpr std::array needs_output = {Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp,
                                     Hookup::test_speaker};

template <class List>
std::optional<Hookup> one_of(const Conditions& conditions, const List& list) {
    std::optional<Hookup> found;
    for (const Hookup hookup : list) {
        if (!conditions.has(hookup)) continue;
        if (found)
            throw Error(ErrorKind::invalid_request, fmt::format("hookups {} and {} exclude each other",
                                                                to_word(*found), to_word(hookup)));
        found = hookup;
    }
    return found;
}

void refuse_unmeasurable(const Conditions& conditions) {
    if (conditions.point == Point::amp_output) return;
    for (const Hookup hookup : needs_output) {
        if (conditions.has(hookup))
            throw Error(
                ErrorKind::invalid_request,
                fmt::format("hookup {} is judged at the amplifier's output or by ear; at {} there is nothing "
                            "to capture",
                            to_word(hookup), to_word(conditions.point)));
    }
}

void ground_the_source(GroundNetwork& network, const SourcePart& source, const Conditions& conditions,
                       const DevicePart* device, Wiring& wiring) {
    using Net = GroundNetwork;
    const auto feed = one_of(conditions, source_feed);
    const bool floats = feed == Hookup::source_on_own_battery || wiring.source_substituted;
    if (feed == Hookup::source_isolated) {
        network.join(Net::source_case, Net::amplifier_ground, isolated_feed_ohm);
    } else if (!floats) {
        network.join_body(Net::source_case, 1e-3 * source.ground_mohm);
        network.inject(Net::source_case, Net::dash_current);
        // Currents of other consumers drop their voltage over the joint alone, not over what hangs on the
        // case.
        if (source.antenna && !conditions.has(Hookup::antenna_unplugged))
            network.join_driven(Net::source_case, Net::antenna_voltage, source.antenna->shield_ohm);
    }
    if (device && !wiring.source_substituted)
        network.join_driven(Net::source_case, Net::socket_voltage, device->aux_shield_ohm + device->link_ohm);
    wiring.source_has_supply = !floats;
}

void ground_the_interface(GroundNetwork& network, const Scenario& scenario, const Conditions& conditions,
                          bool feeds_source, Wiring& wiring) {
    using Net = GroundNetwork;
    const InterfacePart& interface = scenario.interface;
    const bool at_source = conditions.point == Point::source_output;
    if (interface.input == InterfaceInput::grounded) {
        if (at_source)
            network.join(Net::interface_ground, Net::source_case,
                         interface.y_lead_ohm + scenario.source.shell_to_case_ohm);
        else
            wiring.reads_from = wiring.at_output ? Net::amplifier_ground : Net::lead_shell;
        if (wiring.reads_from) network.join(Net::interface_ground, *wiring.reads_from, interface.y_lead_ohm);
    }
    if (feeds_source) network.join(Net::interface_ground, Net::source_case, interface.output_lead_ohm);
    const LaptopPower power = conditions.laptop.value_or(LaptopPower::battery);
    if (power == LaptopPower::vehicle)
        network.join_driven(Net::interface_ground, Net::socket_voltage, scenario.laptop.vehicle_adapter_ohm);
    if (power == LaptopPower::mains) {
        network.inject(Net::interface_ground, Net::leakage_current);
        if (scenario.laptop.earth_ohm)
            network.join_driven(Net::interface_ground, Net::earth_voltage, *scenario.laptop.earth_ohm);
    }
}

void lay_the_speaker_leads(const Scenario& scenario, const Conditions& conditions, Wiring& wiring) {
    if (!scenario.speaker_leads || conditions.has(Hookup::test_speaker)) return;
    const SpeakerLeadsPart& leads = *scenario.speaker_leads;
    wiring.speaker_mutual_h =
        leads.length_m *
        mutual_inductance_wire_to_loop(leads.separation_m, leads.separation_m + 1e-3 * leads.spacing_mm);
}

void lay_the_lead(const Scenario& scenario, const Conditions& conditions, Wiring& wiring) {
    const LeadPart& lead = scenario.lead;
    const bool across_seats = conditions.has(Hookup::temporary_lead);
    const double separation =
        across_seats ? std::max(lead.separation_m, seat_separation_m) : lead.separation_m;
    const double parallel = across_seats ? 0.5 * lead.parallel_m : lead.parallel_m;
    const double along = std::cos(lead.crossing_deg * std::numbers::pi / 180.0) * parallel;
    const double height = across_seats ? std::max(0.2, lead.above_metal_m) : lead.above_metal_m;
    if (wiring.feed_connected) {
        wiring.loop_mutual_h = along * mutual_inductance_over_plane(height, lead.above_metal_m, separation);
        wiring.lead_mutual_h =
            along * mutual_inductance_wire_to_loop(separation, separation + 1e-3 * lead.core_offset_mm);
        wiring.stray_f = across_seats ? 0.0 : 1e-12 * lead.stray_pf;
    }
    if (conditions.has(Hookup::source_isolated)) wiring.loop_mutual_h = 0;  // its feed runs beside the lead
    wiring.shield_h = shield_h_per_m * lead.signal_m;
}

/// Each lead has half of the shields' conductance, of the Y lead's and of the way from shells to ground.
/// Without a joint that would come to the same as one shield.
void part_the_shields(const Scenario& scenario, const Conditions& conditions, double shell_ohm,
                      Wiring& wiring) {
    double siemens = 1.0 / scenario.amplifier.shell_to_ground_ohm;
    if (wiring.reads_from == GroundNetwork::lead_shell) siemens += 1.0 / scenario.interface.y_lead_ohm;
    if (conditions.has(Hookup::shell_link_at_amp)) siemens += 1.0 / link_ohm;
    wiring.shields = TwoShields::Circuit{.common_ohm = wiring.grounds.shield_ohm + shell_ohm,
                                         .each_ohm = 2.0 * scenario.lead.shield_ohm,
                                         .apart_ohm = 2.0 / siemens,
                                         .henry = wiring.shield_h};
    const bool at_source = scenario.lead.contact->place == ContactPlace::shell_at_source;
    if (at_source && conditions.has(Hookup::source_shell_link)) wiring.bridge_ohm = link_ohm;
    wiring.shield_in_signal = conditions.point != Point::source_output;
    wiring.shell_in_signal_ohm = conditions.has(Hookup::shorted_at_source) ? 0.0 : shell_ohm;
}

}  // namespace

double feed_ohm(const FeedPart& feed) {
    return wire_resistance_ohm(feed.length_m, feed.area_mm2, feed.temperature_c,
                               feed.conductor == Conductor::copper_clad_aluminium);
}
double feed_h(const FeedPart& feed, double above_metal_m) {
    const double radius_m = 1e-3 * std::sqrt(feed.area_mm2 / std::numbers::pi);
    return feed.length_m * inductance_over_plane(above_metal_m, radius_m);
}

Wiring work_out_wiring(const Scenario& scenario, const Conditions& conditions, bool interface_feeds_source,
                       const DevicePart* device) {
    refuse_unmeasurable(conditions);
    Wiring wiring;
    const auto end = one_of(conditions, source_end);
    const auto amp = one_of(conditions, amp_end);
    wiring.at_output = conditions.point == Point::amp_output;
    wiring.input_shorted = amp.has_value();
    wiring.lead_on_shell = amp != Hookup::shorted_at_amp;
    wiring.inputs_shorted = conditions.has(Hookup::inputs_shorted);
    wiring.isolated = conditions.has(Hookup::isolator);
    wiring.feed_connected = !conditions.has(Hookup::amp_on_own_battery);
    wiring.source_substituted = end == Hookup::substitute_source;
    wiring.source_connected = !end || wiring.source_substituted;
    if (conditions.point == Point::source_output && !wiring.source_connected)
        throw Error(
            ErrorKind::invalid_request,
            fmt::format("hookup {} takes the lead off the source: measure at amp_input", to_word(*end)));

    using Net = GroundNetwork;
    Net network;
    ground_the_source(network, scenario.source, conditions, device, wiring);
    if (wiring.feed_connected) {
        network.join_driven(Net::amplifier_ground, Net::body_voltage, 1e-3 * scenario.amplifier.ground_mohm);
        network.inject(Net::amplifier_ground, Net::feed_current);
    }
    if (wiring.lead_on_shell)
        network.join(Net::lead_shell, Net::amplifier_ground, scenario.amplifier.shell_to_ground_ohm);
    if (conditions.has(Hookup::shell_link_at_amp))
        network.join(Net::lead_shell, Net::amplifier_ground, link_ohm);
    if (conditions.has(Hookup::temporary_ground))
        network.join(Net::source_case, Net::amplifier_ground, strap_ohm);
    ground_the_interface(network, scenario, conditions, interface_feeds_source, wiring);
    wiring.grounds = network.solve();

    lay_the_lead(scenario, conditions, wiring);
    lay_the_speaker_leads(scenario, conditions, wiring);
    double shell_ohm = wiring.source_substituted ? link_ohm : scenario.source.shell_to_case_ohm;
    if (conditions.has(Hookup::source_shell_link)) shell_ohm = shell_ohm * link_ohm / (shell_ohm + link_ohm);
    const double shield_ohm = scenario.lead.shield_ohm;
    const bool joint = scenario.lead.contact && !conditions.has(Hookup::temporary_lead);
    const bool in_core = joint && scenario.lead.contact->place == ContactPlace::core_at_source;
    wiring.core_joint = in_core;
    const bool shield_joined = !wiring.isolated && wiring.lead_on_shell &&
                               (wiring.source_connected || end == Hookup::shorted_at_source);
    if (shield_joined) {
        wiring.shield_total_ohm = wiring.grounds.shield_ohm + shield_ohm + shell_ohm;
        wiring.shield_drop_ohm = end == Hookup::shorted_at_source ? shield_ohm : shield_ohm + shell_ohm;
        if (conditions.point == Point::source_output) wiring.shield_drop_ohm = shell_ohm;
        if (joint && !in_core) part_the_shields(scenario, conditions, shell_ohm, wiring);
    }
    if (conditions.point == Point::source_output) wiring.lead_mutual_h = 0;

    double end_ohm = scenario.source.output_ohm;
    if (end == Hookup::termination_1k) end_ohm = 1000;
    if (end == Hookup::termination_10k) end_ohm = 10000;
    if (end == Hookup::unplugged_at_source) end_ohm = 1e9;
    if (end == Hookup::dummy_floating || end == Hookup::shorted_at_source) end_ohm = 0;
    wiring.end_ohm = end_ohm;
    wiring.core_ohm = end_ohm * scenario.amplifier.input_ohm / (end_ohm + scenario.amplifier.input_ohm);
    // what a field induces along the lead stands in series with both ends: the amplifier's input gets its
    // share
    wiring.lead_emf_h = wiring.lead_mutual_h;
    wiring.lead_mutual_h *= scenario.amplifier.input_ohm / (end_ohm + scenario.amplifier.input_ohm);
    wiring.signal_gain =
        scenario.amplifier.input_ohm / (scenario.source.output_ohm + scenario.amplifier.input_ohm);
    return wiring;
}

}  // namespace hushtrace::simulated
