#pragma once
#include <array>
#include <cstddef>

namespace hushtrace::simulated {

/// The grounds that the signal lead's shield ties together, as a network of resistances solved by node
/// potentials. Potentials are against the body beside the source.
///
/// The shield itself, with its inductance, is not part of it: seen from the shield the network is a voltage
/// behind a resistance (Thevenin), which GroundSolution gives, and what else the interface sees of it.
class GroundNetwork {
public:
    enum Node { source_case, lead_shell, interface_ground, amplifier_ground, node_count };
    /// What drives the network.
    enum Drive {
        feed_current,     ///< [A] into the amplifier's ground
        dash_current,     ///< [A] into the source's ground joint from consumers that share it
        body_voltage,     ///< [V] of the body at the amplifier
        antenna_voltage,  ///< [V] of the body at the antenna
        socket_voltage,   ///< [V] of the device's ground in the socket
        earth_voltage,    ///< [V] of the mains earth
        leakage_current,  ///< [A] from the laptop's adapter into the interface's ground
        drive_count
    };
    using PerDrive = std::array<double, drive_count>;

    GroundNetwork();
    void join(Node a, Node b, double ohm);
    /// To the body beside the source.
    void join_body(Node node, double ohm);
    /// To the body through a source of voltage.
    void join_driven(Node node, Drive voltage, double ohm);
    void inject(Node node, Drive current);

    struct Solution {
        PerDrive shield_voltage{};  ///< source_case less lead_shell, shield open, for a drive of 1
        double shield_ohm = 0;      ///< resistance seen by the shield
        std::array<PerDrive, node_count> potential{};  ///< of each node, shield open
        std::array<double, node_count>
            per_shield_amp{};  ///< change of it for 1 A through the shield from source to amplifier
    };
    Solution solve() const;

private:
    std::array<std::array<double, node_count>, node_count> conductance_{};
    std::array<std::array<double, drive_count>, node_count> injected_{};
};

}  // namespace hushtrace::simulated
