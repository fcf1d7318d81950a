#pragma once
#include <optional>

#include "contact.hpp"
#include "ground_network.hpp"
#include "hushtrace/signal/conditions.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// What is connected to what under the conditions set: the ground network solved, and what the lead itself
/// picks up.
struct Wiring {
    bool inputs_shorted = false;      ///< the interface sees its own short and nothing else
    bool source_connected = true;     ///< the source's signal reaches the lead
    bool source_substituted = false;  ///< another, floating source stands in its place
    bool source_has_supply = true;    ///< fed from the vehicle, so ripple reaches it
    bool feed_connected = true;       ///< the amplifier draws from the vehicle
    bool isolated = false;            ///< a transformer stands in the lead

    GroundNetwork::Solution grounds;
    double shield_total_ohm = 1e9;  ///< whole loop, shield included
    double shield_h = 0;            ///< its inductance [H]
    double shield_drop_ohm = 0;     ///< what the shield's current is turned into signal by
    double loop_mutual_h = 0;       ///< supply cable to shield-body loop [H]
    double lead_mutual_h = 0;       ///< supply cable into the lead itself, the input's share [H]
    double lead_emf_h = 0;          ///< the same, all of it [H]
    double stray_f = 0;             ///< supply cable to core [F]
    double core_ohm = 0;            ///< resistance at the core that the stray current meets [ohm]
    double end_ohm = 0;             ///< what ends the core at the source [ohm]
    double signal_gain = 1;         ///< divider of source output and amplifier input
    /// A grounded input reads against its own ground, Y lead included: from this node.
    std::optional<GroundNetwork::Node> reads_from;

    /// A bad joint in the shields: they carry unlike currents, and these two of a shield's drops reach the
    /// signal.
    std::optional<TwoShields::Circuit> shields;
    double bridge_ohm = 1e12;        ///< of a link beside the joint
    double shell_in_signal_ohm = 0;  ///< for the currents of both shields
    bool shield_in_signal = true;
    bool core_joint = false;  ///< a bad joint in the core

    bool at_output = false;      ///< the interface hangs behind the amplifier
    bool input_shorted = false;  ///< a dummy plug in the amplifier's input
    bool lead_on_shell = true;   ///< the lead's shield ends on the amplifier's input shell
    double speaker_mutual_h =
        0;  ///< cable into the left speaker's leads, up to where the interface hangs [H]
};

/// Works the wiring out.
///   `device` the one attached device that is fed from the vehicle and wired to the source, if any
///   throws Error invalid_request for a hookup that can't be measured at this point, or two that exclude each
///   other
Wiring work_out_wiring(const Scenario& scenario, const Conditions& conditions, bool interface_feeds_source,
                       const DevicePart* device);

/// The supply cable's radius, resistance and inductance as laid.
double feed_ohm(const FeedPart& feed);
double feed_h(const FeedPart& feed, double above_metal_m);

}  // namespace hushtrace::simulated
