#pragma once
#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "hushtrace/signal/block.hpp"
#include "hushtrace/simulation/simulated_vehicle.hpp"
#include "meters.hpp"
#include "scenario.hpp"
#include "wiring.hpp"

namespace hushtrace::simulated {

struct Machinery;

/// The vehicle in motion: the parts of a scenario, put into conditions and moved on sample by sample.
class TestDrive {
public:
    explicit TestDrive(const Scenario& scenario);  ///< keeps a reference
    ~TestDrive();
    TestDrive(const TestDrive&) = delete;
    TestDrive& operator=(const TestDrive&) = delete;

    void set_conditions(const SimulatedConditions& wanted);
    void set_volume(double volume);
    void render(std::span<const double> interface_output, Block& captured);

    /// Volts rms of the changing part at the amplifier's supply terminals, over the next second.
    double measure_ripple_v();

    const SimulatedConditions& conditions() const { return set_; }
    /// Mean of a bad joint in the left core, 0 where there is none [ohm].
    double left_joint_ohm() const;
    double volume() const { return volume_; }
    bool tone_enters_by_line() const { return set_.interface_feeds_source && !set_.played_file; }
    const DirectCurrents& currents() const { return currents_; }

private:
    void check(const SimulatedConditions& wanted) const;
    const DevicePart* device_on_source(const Conditions& conditions) const;
    void switch_loads();
    struct LeadSide {
        double series_v = 0;  ///< of its shield's drop and of what is induced in it
        double apart_v = 0;   ///< of its shell at the amplifier, against what both shells have in common
        double signal_gain = 1, core_ohm = 0;  ///< as in Wiring
    };
    /// Both leads at this instant. `around_shield_v` drives the shields' loop, whose current goes into
    /// `shield_a`.
    std::array<LeadSide, 2> lead_sides(double around_shield_v, double& shield_a);
    /// The source's output whose lead is captured as this channel.
    std::size_t output_on(Channel channel) const;
    void step(double interface_output, std::span<double> readings_v);
    /// What joins the signal between the amplifier's terminals and the interface.
    void add_speaker_leads(double along_y_lead, std::array<double, 2>& at_speaker);

    const Scenario& scenario_;
    double rate_hz_, period_s_, output_pad_;
    SimulatedConditions set_;
    Wiring wiring_;
    const DevicePart* device_ = nullptr;
    DirectCurrents currents_;
    double volume_;
    std::optional<std::uint64_t> seed_;
    std::uint64_t frames_since_set_ = 0;
    std::unique_ptr<Machinery> parts_;
};

}  // namespace hushtrace::simulated
