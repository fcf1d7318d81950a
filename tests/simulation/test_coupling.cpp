#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"
#include "steady_drive.hpp"

using namespace hushtrace;
using namespace simulation_test;

namespace {

void close_loop(json& scenario) {
    make_steady(scenario);
    scenario["amplifier"]["shell_to_ground_ohm"] = 0.05;
    scenario["amplifier"]["ground_mohm"] = 9;
}
void lay_beside_supply(json& scenario) {
    make_steady(scenario);
    scenario["lead"]["separation_m"] = 0.01;
    scenario["lead"]["parallel_m"] = 4;
    scenario["lead"]["core_offset_mm"] = 3;
}
void thin_shield(json& scenario) {
    make_steady(scenario);
    scenario["lead"]["stray_pf"] = 300;
}

}  // namespace

TEST_CASE("a ground loop puts shield current times shield resistance into the signal", "[simulation]") {
    auto vehicle = altered("healthy.json", close_loop);
    // Ott 2009 ch. 3: common impedance, then the shield as a divider. The magnetic part of this vehicle's
    // loop, from a lead 0.6 m off, adds less than 1 % here.
    const double omega = tau * whine_hz;
    const auto feed_a = feed_current(0.009);
    const std::complex<double> loop_ohm(0.1 + 0.02 + 0.05 + 0.009 + 0.004, omega * 5.5e-6);
    const double ground_v = std::abs(feed_a) * (0.009 + 0.0001);
    const double expected_v = ground_v * 0.12 / std::abs(loop_ohm);
    const double read_v = whine_v(vehicle, running());
    CHECK(decibels(read_v / expected_v) == Approx(0).margin(0.3));
    // The size that the trade knows: an ampere or so through some milliohms, millivolts at the input.
    CHECK(read_v > 0.3e-3);
    CHECK(read_v < 10e-3);
}

TEST_CASE("the lead picks up M dI/dt, and the input gets its share beside what ends the lead", "[simulation]") {
    auto vehicle = altered("healthy.json", lay_beside_supply);
    // Ott 2009 ch. 2: V = omega M I, M = mu0/(2 pi) ln(b/a) a metre; 1 cm away, 3 mm wide, 4 m long.
    const double expected_v =
        tau * whine_hz * 4 * 2e-7 * std::log(13.0 / 10.0) * std::abs(feed_current(0.001));
    CHECK(decibels(whine_v(vehicle, running()) / expected_v) == Approx(0).margin(0.3));
    // that voltage stands in series with both ends: 15 kohm of input beside 0, 1 k, 10 k, or nothing
    for (const auto& [end, share] :
         {std::pair(Hookup::dummy_floating, 1.0), std::pair(Hookup::termination_1k, 15.0 / 16.0), std::pair(Hookup::termination_10k, 15.0 / 25.0)})
        CHECK(decibels(whine_v(vehicle, running({end})) / expected_v) == Approx(decibels(share)).margin(0.3));
    CHECK(whine_v(vehicle, running({Hookup::unplugged_at_source})) < 0.05 * expected_v);
    CHECK(whine_v(vehicle, running({Hookup::temporary_lead})) < 0.05 * expected_v);
}

TEST_CASE("capacitive pick-up follows the resistance that ends the lead", "[simulation]") {
    auto vehicle = altered("healthy.json", thin_shield);
    const double at_1k = whine_v(vehicle, running({Hookup::termination_1k}));
    const double at_10k = whine_v(vehicle, running({Hookup::termination_10k}));
    // V = omega R C V1 (Ott 2009 ch. 2) with the amplifier's 15 kohm beside: 937.5 and 6000 ohm.
    CHECK(decibels(at_10k / at_1k) == Approx(decibels(6000 / 937.5)).margin(0.3));
    CHECK(at_1k > 10 * whine_v(vehicle, running({Hookup::dummy_floating})));
    // A real shield is intact: the same vehicle without the stray picks next to nothing up.
    auto intact = altered("healthy.json", make_steady);
    CHECK(whine_v(intact, running({Hookup::termination_10k})) < 0.1 * at_10k);
}

TEST_CASE("each hookup changes a ground loop as the table of tests says", "[simulation]") {
    auto vehicle = altered("healthy.json", close_loop);
    const double normal_v = whine_v(vehicle, running());
    const auto change_db = [&](Hookup hookup) {
        return decibels(whine_v(vehicle, running({hookup})) / normal_v);
    };
    // Gone (20 dB or more) wherever the shield's way is cut; there where only the source's signal is taken
    // off.
    for (const Hookup cut :
         {Hookup::isolator, Hookup::dummy_floating, Hookup::unplugged_at_source, Hookup::inputs_shorted,
          Hookup::source_on_own_battery, Hookup::amp_on_own_battery, Hookup::substitute_source}) {
        INFO(to_word(cut));
        CHECK(change_db(cut) < -20);
    }
    CHECK(change_db(Hookup::source_isolated) < -20);
    CHECK(change_db(Hookup::shorted_at_source) == Approx(0).margin(2));
    CHECK(change_db(Hookup::temporary_lead) == Approx(0).margin(2));
    CHECK(change_db(Hookup::temporary_ground) < -3);
    CHECK(change_db(Hookup::temporary_ground) > -20);
}

TEST_CASE("an open shell link lets the whole ground difference in, and a fused link mends it",
          "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        make_steady(scenario);
        scenario["source"]["shell_to_case_ohm"] = 1e6;
        scenario["amplifier"]["ground_mohm"] = 9;
    });
    const double open_v = whine_v(vehicle, running());
    CHECK(decibels(open_v / (std::abs(feed_current(0.009)) * 0.0091)) == Approx(0).margin(0.5));
    CHECK(whine_v(vehicle, running({Hookup::source_shell_link})) < 0.1 * open_v);
    CHECK(whine_v(vehicle, running({Hookup::isolator})) < 0.1 * open_v);
}

TEST_CASE("ripple through a poor supply filter stays when the loop is cut and goes with the source",
          "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        make_steady(scenario);
        scenario["source"]["supply_rejection_db"] = 40;
    });
    const double normal_v = whine_v(vehicle, running());
    CHECK(normal_v > 20e-6);
    CHECK(decibels(whine_v(vehicle, running({Hookup::isolator})) / normal_v) == Approx(0).margin(1));
    CHECK(whine_v(vehicle, running({Hookup::source_on_own_battery})) < 0.05 * normal_v);
    CHECK(whine_v(vehicle, running({Hookup::shorted_at_source})) < 0.05 * normal_v);
}

TEST_CASE("a second ground through the antenna lead shows only while it is plugged in", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        make_steady(scenario);
        scenario["amplifier"]["shell_to_ground_ohm"] = 0.05;
        scenario["source"]["ground_mohm"] = 200;
        scenario["source"]["antenna"] = {{"shield_ohm", 0.1}, {"base_mohm", 20}};
    });
    const double plugged_v = whine_v(vehicle, running());
    CHECK(whine_v(vehicle, running({Hookup::antenna_unplugged})) < 0.3 * plugged_v);
}

TEST_CASE("an adapter's hum appears with the adapter, at the region's frequency", "[simulation]") {
    auto vehicle = altered("laptop_on_mains.json", make_steady);
    SimulatedConditions set;
    set.conditions.laptop = LaptopPower::mains;
    set.conditions.volume = 0;
    const double on_mains_v = whine_v(vehicle, set, 60);
    CHECK(on_mains_v > 0.1e-3);
    CHECK(decibels(whine_v(vehicle, set, 180) / on_mains_v) == Approx(decibels(0.4)).margin(0.5));
    set.conditions.laptop = LaptopPower::battery;
    CHECK(whine_v(vehicle, set, 60) < 1e-3 * on_mains_v);
}

TEST_CASE("the interface's output lead closes a loop of its own", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        close_loop(scenario);
        scenario["amplifier"]["shell_to_ground_ohm"] = 470;
    });
    SimulatedConditions set = running();
    set.conditions.volume = 40;
    const double without_v = whine_v(vehicle, set);
    set.interface_feeds_source = true;
    CHECK(whine_v(vehicle, set) > 2 * without_v);
}

TEST_CASE("a charger makes noise while it is fed from the vehicle and only then", "[simulation]") {
    SimulatedVehicle vehicle(signals_folder() / "socket_charger.json");
    const auto noise = [&](PoweredFrom from) {
        SimulatedConditions set;
        set.conditions.engine = Engine::idle;
        set.conditions.attached = {{"charger", from}};
        set.conditions.volume = 15;
        vehicle.set_conditions(set);
        rendered(vehicle, 0.3);
        return rms(rendered(vehicle, 1.0).channel(0));
    };
    CHECK(decibels(noise(PoweredFrom::vehicle) / noise(PoweredFrom::own_battery)) > 10);
}

TEST_CASE("hookups that leave nothing to capture are refused", "[simulation]") {
    SimulatedVehicle vehicle(signals_folder() / "healthy.json");
    const auto kind_of = [&](const SimulatedConditions& set) {
        try {
            vehicle.set_conditions(set);
        } catch (const Error& error) {
            return error.kind();
        }
        FAIL("was not refused");
        return ErrorKind::disk_failed;
    };
    for (const Hookup hookup : {Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp, Hookup::test_speaker})
        CHECK(kind_of(running({hookup})) == ErrorKind::invalid_request);
    CHECK(kind_of(running({Hookup::dummy_floating, Hookup::termination_1k})) == ErrorKind::invalid_request);
    SimulatedConditions set;
    set.conditions.engine = Engine::ready;
    CHECK(kind_of(set) == ErrorKind::invalid_request);
    set = {};
    set.conditions.loads = {"disco_ball"};
    CHECK(kind_of(set) == ErrorKind::invalid_request);
    set = {};
    set.conditions.attached = {{"kettle", PoweredFrom::vehicle}};
    CHECK(kind_of(set) == ErrorKind::invalid_request);
    set = {};
    set.conditions.volume = 41;
    CHECK(kind_of(set) == ErrorKind::invalid_request);
    set = {};
    set.conditions.rpm = 900;  // with the engine off
    CHECK(kind_of(set) == ErrorKind::invalid_request);
    set = {};
    set.channels = {Channel::sub};
    CHECK(kind_of(set) == ErrorKind::invalid_request);
    set = running({Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp});
    set.conditions.point = Point::amp_output;
    CHECK(kind_of(set) == ErrorKind::invalid_request);
    set = running({Hookup::test_speaker});
    set.conditions.point = Point::source_output;
    CHECK(kind_of(set) == ErrorKind::invalid_request);
}
