#include <cmath>
#include <string>
#include <vector>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/simulation/simulated_vehicle.hpp"
#include "memory_file.hpp"
#include "target.hpp"

namespace hushtrace::fuzz {
namespace {

constexpr std::size_t frames = 256;

void look_at_sound(SimulatedVehicle& vehicle, Engine engine) {
    SimulatedConditions set;
    set.conditions.engine = engine;
    vehicle.set_conditions(set);
    Block captured;
    vehicle.render(std::vector<double>(frames), captured);
    require(captured.channels() == 2 && captured.frames() == frames, "another length than asked for");
    for (std::size_t c = 0; c < captured.channels(); ++c)
        for (const double one : captured.channel(c)) require(std::isfinite(one) && std::abs(one) <= 1.0, "a sample that no converter gives");
}

}  // namespace

void try_vehicle(Bytes bytes) {
    const MemoryFile file(bytes);
    done_or_refused([&] {
        SimulatedVehicle vehicle(file.path());
        std::vector<Warning> warnings;
        parse_job(vehicle.job_description_json(), warnings);
        require(warnings.empty(), "a vehicle describes itself by fields that a job doesn't have");
        for (const Engine engine : {Engine::off, Engine::idle}) done_or_refused([&] { look_at_sound(vehicle, engine); });
        for (const double value : {vehicle.meter_ground_drop_v(), vehicle.meter_shell_to_amplifier_ground_v(), vehicle.meter_shell_to_case_ohm(),
                                   vehicle.meter_supply_drop_v(), vehicle.meter_source_output_v(400, 0)})
            require(std::isfinite(value), "a meter reads no number");
    });
}

}  // namespace hushtrace::fuzz
