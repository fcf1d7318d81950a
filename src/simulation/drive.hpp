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

    double volume() const { return volume_; }
    bool tone_enters_by_line() const { return set_.interface_feeds_source && !set_.played_file; }
    const DirectCurrents& currents() const { return currents_; }

private:
    void check(const SimulatedConditions& wanted) const;
    const DevicePart* device_on_source(const Conditions& conditions) const;
    void switch_loads();
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
