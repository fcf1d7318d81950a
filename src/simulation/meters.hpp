#pragma once
#include "scenario.hpp"

namespace hushtrace::simulated {

/// Direct currents that flow under the conditions set [A].
struct DirectCurrents {
    double vehicle_a = 0;  ///< all consumers together
    double dash_a = 0;     ///< through the source's ground joint, the source's own included
    double amplifier_a = 0;
};

/// Volts a meter shows from the unplugged lead's shell to the amplifier's ground terminal, amplifier off.
double shell_to_amplifier_ground_v(const Scenario& scenario, const DirectCurrents& currents);
/// Volts from the amplifier's ground terminal to the battery's negative post.
double ground_drop_v(const Scenario& scenario, const DirectCurrents& currents);
/// True volts rms of a tone at the left output, into the amplifier's input, at this volume.
///   joint_ohm    of a bad joint in the left core
///   level_dbfs   of the tone in the source's file, or at the interface's output when it enters by the line
///   input
double source_output_v(const Scenario& scenario, double volume, bool by_line_input, double joint_ohm,
                       double frequency_hz, double level_dbfs);
/// Volts dc that the supply cable, its return not counted, takes away from the amplifier.
double supply_drop_v(const Scenario& scenario, const DirectCurrents& currents);

}  // namespace hushtrace::simulated
