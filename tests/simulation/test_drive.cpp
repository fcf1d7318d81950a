#include <algorithm>
#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"
#include "scenario_tools.hpp"

using namespace hushtrace;
using namespace simulation_test;

namespace {

SimulatedConditions busy(std::uint64_t seed = 7) {
    SimulatedConditions set;
    set.conditions.engine = Engine::idle;
    set.conditions.volume = 36;
    set.conditions.loads = {"headlights", "dash_dimmer", "blower"};
    set.conditions.attached = {{"charger", PoweredFrom::vehicle}};
    set.conditions.laptop = LaptopPower::mains;
    set.interface_feeds_source = true;
    set.seed = seed;
    return set;
}

std::vector<double> played(SimulatedVehicle& vehicle, std::size_t frames, std::size_t block_frames) {
    const auto tone = sine(997, 0.9, frames, 48000);
    std::vector<double> both;
    Block block;
    std::vector<std::vector<double>> channels(2);
    for (std::size_t at = 0; at < frames; at += block_frames) {
        vehicle.render(std::span(tone).subspan(at, std::min(block_frames, frames - at)), block);
        for (std::size_t c = 0; c < 2; ++c)
            channels[c].insert(channels[c].end(), block.channel(c).begin(), block.channel(c).end());
    }
    both = channels[0];
    both.insert(both.end(), channels[1].begin(), channels[1].end());
    return both;
}

std::vector<double> one_drive(std::uint64_t seed, std::size_t block_frames) {
    SimulatedVehicle vehicle(signals_folder() / "three_faults.json");
    vehicle.set_conditions(busy(seed));
    return played(vehicle, 30000, block_frames);
}

}  // namespace

TEST_CASE("blocks of any size give the same sound", "[simulation]") {
    const auto whole = one_drive(7, 30000);
    for (const std::size_t frames : {1u, 37u, 512u, 4096u}) CHECK(one_drive(7, frames) == whole);
}

TEST_CASE("the same seed gives the same sound and another one doesn't", "[simulation]") {
    CHECK(one_drive(3, 512) == one_drive(3, 512));
    CHECK(one_drive(3, 512) != one_drive(4, 512));
}

TEST_CASE("two takes of one drive don't share their noise", "[simulation]") {
    SimulatedVehicle vehicle(signals_folder() / "healthy.json");
    vehicle.set_conditions({});
    const Block first = rendered(vehicle, 0.5);
    vehicle.set_conditions({});
    const Block second = rendered(vehicle, 0.5);
    double product = 0;
    for (std::size_t i = 0; i < first.frames(); ++i) product += first.channel(0)[i] * second.channel(0)[i];
    const auto frames = static_cast<double>(first.frames());
    CHECK(std::abs(product / frames) < 0.05 * rms(first.channel(0)) * rms(second.channel(0)));
}

TEST_CASE("each firing of the engine sends one tick", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        make_steady(scenario);
        scenario["vehicle"]["ignition"] = {{"pulse_a", 0}, {"pulse_lead_v", 0.02}, {"jitter_deg", 0.2}};
    });
    SimulatedConditions set;
    set.conditions.engine = Engine::idle;
    set.conditions.rpm = 750;
    vehicle.set_conditions(set);
    rendered(vehicle, 0.2);
    const Block block = rendered(vehicle, 4.0);
    int ticks = 0;
    std::size_t quiet_until = 0;
    for (std::size_t i = 0; i < block.frames(); ++i) {
        if (i < quiet_until || std::abs(block.channel(0)[i]) < 0.04)
            continue;  // ticks peak near 0.2 of full scale
        ++ticks;
        quiet_until = i + 480;
    }
    // Four cylinders, four strokes: two firings a revolution, 25 Hz at 750 rpm.
    CHECK(std::abs(ticks - 100) <= 1);
}

TEST_CASE("a dimmer's line lies at its switching frequency and follows the switch", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        const json loads = scenario["loads"];
        make_steady(scenario);
        scenario["loads"] = loads;
    });
    const auto line = [&](bool on) {
        SimulatedConditions set;
        set.channels = {Channel::supply};
        if (on) set.conditions.loads = {"dash_dimmer"};
        vehicle.set_conditions(set);
        rendered(vehicle, 0.5);
        return peak_at(rendered(vehicle, 1.0).channel(0), 187, 48000);
    };
    const double on = line(true);
    // A chopped 0.8 A at duty 0.4: first harmonic 2/pi sin(0.4 pi) of it, over the battery beside the
    // amplifier's feed.
    const std::complex<double> omega(0, 2 * std::numbers::pi * 187);
    const std::complex<double> battery = 0.008 + omega * 0.8e-6;
    const double feed_h = 5.5 * 2e-7 * std::acosh(0.01 / (1e-3 * std::sqrt(21.2 / std::numbers::pi)));
    const std::complex<double> feed = 0.0048 + 0.015 + 0.001 + 0.0001 + omega * feed_h + 1.0 / (omega * 6e-3);
    const double current_a = 0.8 * 2 / std::numbers::pi * std::sin(0.4 * std::numbers::pi);
    const double expected_v = current_a * std::abs(battery * feed / (battery + feed));
    CHECK(decibels(0.1 * on / expected_v) == Approx(0).margin(0.1));
    CHECK(line(false) < 1e-3 * on);
}

TEST_CASE("levels are those of real vehicles", "[simulation]") {
    const auto noise_dbv = [](const char* name, Engine engine) {
        SimulatedVehicle vehicle(signals_folder() / name);
        SimulatedConditions set;
        set.conditions.engine = engine;
        set.conditions.volume = 10;
        vehicle.set_conditions(set);
        rendered(vehicle, 0.5);
        const double full_scale_v = read_json(name)["interface"]["volts_full_scale"][0];
        return decibels(full_scale_v * rms(rendered(vehicle, 2.0).channel(0)));
    };
    // A healthy line output holds 10..50 uV, the interface some 6 uV; a ground loop brings some millivolts.
    CHECK(noise_dbv("healthy.json", Engine::idle) < -92);
    CHECK(noise_dbv("healthy.json", Engine::off) > -110);
    CHECK(noise_dbv("ground_loop.json", Engine::idle) == Approx(-55).margin(8));
    CHECK(noise_dbv("ground_loop.json", Engine::off) < -92);
    CHECK(noise_dbv("lead_beside_supply.json", Engine::idle) == Approx(-62).margin(8));
}

TEST_CASE("meters read the drops that the circuit makes", "[simulation]") {
    SimulatedVehicle vehicle(signals_folder() / "healthy.json");
    SimulatedConditions set;
    set.conditions.engine = Engine::idle;
    vehicle.set_conditions(set);
    CHECK(vehicle.meter_ground_drop_v() < 0.1);  // trade figure: below 0.1 V good, above 0.2 V a fault
    const double few = vehicle.meter_ground_drop_v();
    set.conditions.loads = {"headlights", "rear_defogger"};
    vehicle.set_conditions(set);
    CHECK(vehicle.meter_ground_drop_v() > few);
    auto poor = altered("healthy.json", [](json& scenario) { scenario["amplifier"]["ground_mohm"] = 200; });
    CHECK(poor.meter_ground_drop_v() == Approx(0.2 * 1.6).epsilon(0.05));
    CHECK(poor.meter_shell_to_amplifier_ground_v() < 0.1);
}

TEST_CASE("the converter clips at full scale and counts in 24 bits", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        scenario["interface"]["volts_full_scale"] = {1, 1};
    });
    SimulatedConditions set;
    set.interface_feeds_source = true;
    set.conditions.volume = 40;
    vehicle.set_conditions(set);
    Block block;
    vehicle.render(sine(997, 0.9, 24000, 48000), block);
    const auto [lowest, highest] = std::minmax_element(block.channel(0).begin(), block.channel(0).end());
    CHECK(*lowest == -1.0);
    CHECK(*highest == 1.0 - 1.0 / 8388608);
    for (const double sample : block.channel(0).first(2000))
        CHECK(sample * 8388608 == std::round(sample * 8388608));
}
