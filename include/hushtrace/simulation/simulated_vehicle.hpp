#pragma once
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/signal/conditions.hpp"
#include "hushtrace/signal/tone.hpp"

namespace hushtrace {

/// What the simulated vehicle does while it is rendered: everything the person on the door sill would set.
struct SimulatedConditions {
    Conditions conditions;  ///< engine, source, volume, hookup, loads, attached, laptop
    std::vector<Channel> channels = {Channel::left,
                                     Channel::right};  ///< what each interface input is wired to
    std::optional<std::filesystem::path>
        played_file;                      ///< a tone file that the source plays itself (stick, phone)
    bool interface_feeds_source = false;  ///< the interface's output lead is in the source's line input
    std::uint64_t seed = 1;
};

/// The simulated vehicle of a scenario file in signals/: alternator, ignition, loads, source, lead, amplifier
/// input and the interface at the end of it. Physics with parameters; no analysis reads the scenario.
///
/// One object is one drive: time goes on from render to render, so an engine's wander is continuous.
class SimulatedVehicle {
public:
    /// throws Error file_unreadable, invalid_input (naming file and field)
    explicit SimulatedVehicle(const std::filesystem::path& scenario);
    ~SimulatedVehicle();
    SimulatedVehicle(SimulatedVehicle&&) noexcept;
    SimulatedVehicle& operator=(SimulatedVehicle&&) noexcept;

    std::string title() const;
    double sample_rate_hz() const;

    /// What job.json would say of this vehicle (vehicle, source, amplifiers, speakers, cables, supply,
    /// interface), as a JSON text in that schema: what its owner could read off labels and a tape measure,
    /// never the faults.
    std::string job_description_json() const;

    /// Sets the conditions from here on. The played file starts over. With the seed unchanged everything
    /// random runs on; another seed starts a new drive. A volume that isn't stated stays where it was (half
    /// of the top at first). Devices count when they are fed from the vehicle; loads and devices are those
    /// that the scenario names.
    ///   throws Error invalid_request for conditions this vehicle can't be put in
    void set_conditions(const SimulatedConditions& conditions);
    /// Turns the source's volume knob from here on (with the click and ramp that a source makes).
    void set_volume(double volume);

    /// Plays `interface_output` (one channel, may be all zero; sets the duration) and captures as many frames
    /// on `channels.size()` channels into `captured`. Samples are those of the interface's converter: clipped
    /// at ±1.0, quantised to 24 bit, full scale = 1.0.
    void render(std::span<const double> interface_output, Block& captured);

    /// What a meter reads: volts dc or, where it says so, true volts rms.
    double meter_shell_to_amplifier_ground_v() const;  ///< amplifier off, lead not plugged in
    double meter_ground_drop_v() const;                ///< under the conditions set
    double meter_supply_drop_v() const;                ///< along the supply cable, under the conditions set
    double meter_shell_to_case_ohm() const;            ///< the source's jack shell to its case, leads out
    /// Volts rms, ac only, at the amplifier's supply terminals under the conditions set, over one second.
    double meter_ripple_v() const;
    /// True volts rms of a sine at this frequency at the left output at the present volume, clipping
    /// included, as a true-rms meter on the lead reads it, for calibration.
    ///   level_dbfs   of the tone in the file that the source plays; of the interface's output when that
    ///   feeds it
    double meter_source_output_v(double frequency_hz, double level_dbfs) const;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
