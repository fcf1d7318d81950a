#include "hushtrace/simulation/simulated_vehicle.hpp"

#include <cmath>
#include <numbers>

#include "drive.hpp"
#include "meters.hpp"
#include "scenario.hpp"

namespace hushtrace {

struct SimulatedVehicle::State {
    explicit State(const std::filesystem::path& file)
        : scenario(simulated::read_scenario(file)), drive(scenario) {}
    simulated::Scenario scenario;
    simulated::TestDrive drive;
};

SimulatedVehicle::SimulatedVehicle(const std::filesystem::path& scenario)
    : state_(std::make_unique<State>(scenario)) {}
SimulatedVehicle::~SimulatedVehicle() = default;
SimulatedVehicle::SimulatedVehicle(SimulatedVehicle&&) noexcept = default;
SimulatedVehicle& SimulatedVehicle::operator=(SimulatedVehicle&&) noexcept = default;

std::string SimulatedVehicle::title() const {
    return state_->scenario.title;
}
double SimulatedVehicle::sample_rate_hz() const {
    return state_->scenario.interface.sample_rate_hz;
}
std::string SimulatedVehicle::job_description_json() const {
    return simulated::describe_job(state_->scenario);
}

void SimulatedVehicle::set_conditions(const SimulatedConditions& conditions) {
    state_->drive.set_conditions(conditions);
}
void SimulatedVehicle::set_volume(double volume) {
    state_->drive.set_volume(volume);
}

void SimulatedVehicle::render(std::span<const double> interface_output, Block& captured) {
    state_->drive.render(interface_output, captured);
}

double SimulatedVehicle::meter_shell_to_amplifier_ground_v() const {
    return simulated::shell_to_amplifier_ground_v(state_->scenario, state_->drive.currents());
}
double SimulatedVehicle::meter_ground_drop_v() const {
    return simulated::ground_drop_v(state_->scenario, state_->drive.currents());
}
double SimulatedVehicle::meter_shell_to_case_ohm() const {
    return state_->scenario.source.shell_to_case_ohm;
}
double SimulatedVehicle::meter_supply_drop_v() const {
    return simulated::supply_drop_v(state_->scenario, state_->drive.currents());
}
double SimulatedVehicle::meter_ripple_v() const {
    simulated::TestDrive own(state_->scenario);  // the drive itself doesn't move on
    SimulatedConditions set = state_->drive.conditions();
    set.played_file.reset();
    own.set_conditions(set);
    return own.measure_ripple_v();
}
double SimulatedVehicle::meter_source_output_v(double frequency_hz, double level_dbfs) const {
    return simulated::source_output_v(state_->scenario, state_->drive.volume(),
                                      state_->drive.tone_enters_by_line(), state_->drive.left_joint_ohm(),
                                      frequency_hz, level_dbfs);
}

}  // namespace hushtrace
