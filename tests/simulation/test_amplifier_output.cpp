#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"
#include "steady_drive.hpp"

using namespace hushtrace;
using namespace simulation_test;

namespace {

constexpr double gain = 20, pad = 0.1;  // 26.0206 dB of amplifier, 20 dB of pad

void quiet_amplifier(json& scenario) {
    make_steady(scenario);
    scenario["amplifier"]["gain_db"] = 20 * std::log10(gain);
    scenario["amplifier"]["noise_dbv"] = -190;
    scenario["amplifier"]["supply_rejection_db"] = 200;
    scenario["interface"]["output_pad_db"] = 20;
}

SimulatedConditions at_output(std::vector<Hookup> hookup = {Hookup::normal}) {
    SimulatedConditions set = running(std::move(hookup));
    set.conditions.point = Point::amp_output;
    return set;
}

/// The whine's peak at the left speaker [V]: the pad's loss added back.
double speaker_v(SimulatedVehicle& vehicle, const SimulatedConditions& set) {
    return whine_v(vehicle, set) / pad;
}

/// Peak of the ripple at the amplifier's supply terminals on paper [V]: the feed's current meets 15 mohm and
/// 6 mF.
double terminal_v() {
    return std::abs(feed_current(0.001) * std::complex<double>(0.015, -1.0 / (tau * whine_hz * 6e-3)));
}

}  // namespace

TEST_CASE("at the amplifier's output stands what its input gets, times its gain, behind the pad",
          "[simulation]") {
    auto vehicle = altered("ground_loop.json", [](json& scenario) {
        quiet_amplifier(scenario);
        scenario["interface"]["volts_full_scale"] = {7, 7};
    });
    SimulatedConditions set;
    set.interface_feeds_source = true;
    set.conditions.volume = 20;
    const auto tone = sine(1000, 0.3, 48000, rate_hz);
    Block block;
    const auto played_v = [&](Point point) {
        set.conditions.point = point;
        vehicle.set_conditions(set);
        vehicle.render(tone, block);
        return 7 * peak_at(block.channel(1).subspan(9600, 38400), 1000, rate_hz);
    };
    const double input_v = played_v(Point::amp_input);
    CHECK(input_v > 0.05);
    CHECK(decibels(played_v(Point::amp_output) / (input_v * gain * pad)) == Approx(0).margin(0.01));
    set.conditions.amplifier = AmplifierState::off;
    CHECK(played_v(Point::amp_output) < 1e-4 * input_v);
}

TEST_CASE("the amplifier's own noise is that of its input times its gain", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        quiet_amplifier(scenario);
        scenario["amplifier"]["noise_dbv"] = -100;
    });
    SimulatedConditions set = at_output({Hookup::shorted_at_amp});
    set.conditions.engine = Engine::off;
    set.conditions.rpm.reset();
    vehicle.set_conditions(set);
    rendered(vehicle, 0.1);
    const double read_v = 0.1 * rms(rendered(vehicle, 1.0).channel(0)) / pad;
    // -100 dBV from 20 Hz to 20 kHz is 0.79 dB more in 24 kHz; 48000 values are good to 0.1 dB at three
    // sigma.
    CHECK(decibels(read_v) ==
          Approx(-100 + 20 * std::log10(gain) + 10 * std::log10(24000.0 / 19980)).margin(0.1));
}

TEST_CASE("the rails stop the amplifier's output", "[simulation]") {
    auto vehicle = altered("healthy.json", [](json& scenario) {
        quiet_amplifier(scenario);
        scenario["interface"]["volts_full_scale"] = {7, 7};
        scenario["amplifier"]["rail_v"] = 30;
    });
    SimulatedConditions set;
    set.conditions.point = Point::amp_output;
    set.interface_feeds_source = true;
    set.conditions.volume = 40;
    vehicle.set_conditions(set);
    Block block;
    vehicle.render(sine(500, 0.9, 24000, rate_hz), block);
    const auto settled = block.channel(0).subspan(12000);
    // A sine driven far beyond its rails is a square wave of their height: 4/pi of it in the fundamental, or
    // a bit less.
    const double peak_v = 7 * peak_at(settled, 500, rate_hz) / pad;
    CHECK(peak_v < 30 * 4 / std::numbers::pi);
    CHECK(peak_v > 30 * 1.2);
}

TEST_CASE("ripple at the amplifier's supply terminals reaches its output by its rejection", "[simulation]") {
    for (const double rejection_db : {10.0, 30.0}) {
        auto vehicle = altered("healthy.json", [&](json& scenario) {
            quiet_amplifier(scenario);
            scenario["amplifier"]["supply_rejection_db"] = rejection_db;
            scenario["amplifier"]["supply_rejection_corner_hz"] = 1e6;
        });
        const double expected_v = terminal_v() * std::pow(10.0, -rejection_db / 20);
        CHECK(decibels(speaker_v(vehicle, at_output()) / expected_v) == Approx(0).margin(0.3));
        // It stays with nothing at the input and with another speaker, and goes with the vehicle's supply.
        for (const Hookup stays :
             {Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp, Hookup::test_speaker, Hookup::isolator})
            CHECK(decibels(speaker_v(vehicle, at_output({stays})) / expected_v) == Approx(0).margin(0.3));
        CHECK(speaker_v(vehicle, at_output({Hookup::amp_on_own_battery})) < 0.01 * expected_v);
        // At the input there is nothing of it.
        CHECK(whine_v(vehicle, running()) < 0.01 * expected_v);
    }
}

TEST_CASE("supply rejection gets worse from its corner on", "[simulation]") {
    const auto at_corner = [](double corner_hz) {
        auto vehicle = altered("healthy.json", [&](json& scenario) {
            quiet_amplifier(scenario);
            scenario["amplifier"]["supply_rejection_db"] = 30;
            scenario["amplifier"]["supply_rejection_corner_hz"] = corner_hz;
        });
        return speaker_v(vehicle, at_output({Hookup::shorted_at_amp}));
    };
    // |1 + jf/f0| at f = f0 is 3.01 dB, at 10 f0 20.04 dB (a first-order zero).
    const double flat_v = at_corner(1e6);
    CHECK(decibels(at_corner(whine_hz) / flat_v) == Approx(3.01).margin(0.1));
    CHECK(decibels(at_corner(whine_hz / 10) / flat_v) == Approx(20.04).margin(0.2));
}

TEST_CASE("shield current that drops inside the amplifier's input is not seen at its input", "[simulation]") {
    const auto loop = [](double pin1_ohm) {
        return altered("healthy.json", [pin1_ohm](json& scenario) {
            quiet_amplifier(scenario);
            scenario["amplifier"]["shell_to_ground_ohm"] = 0.05;
            scenario["amplifier"]["ground_mohm"] = 9;
            scenario["amplifier"]["pin1_ohm"] = pin1_ohm;
        });
    };
    auto sound = loop(0), faulty = loop(0.04);
    CHECK(whine_v(faulty, running()) == Approx(whine_v(sound, running())).epsilon(1e-6));
    // Ohm's law in the loop of shield 0.1, shell 0.02, input 0.05, joints 0.009 and 0.004 ohm, 5.5 uH.
    const std::complex<double> loop_ohm(0.183, tau * whine_hz * 5.5e-6);
    const double shield_a = std::abs(feed_current(0.009)) * 0.0091 / std::abs(loop_ohm);
    const double expected_v = gain * 0.04 * shield_a;
    CHECK(decibels(speaker_v(faulty, at_output({Hookup::lead_on_dummy_at_amp})) / expected_v) ==
          Approx(0).margin(0.3));
    CHECK(speaker_v(sound, at_output({Hookup::lead_on_dummy_at_amp})) < 0.01 * expected_v);
    // 40 mohm behind the plug add to 120 before it, in phase: 160 of 120.
    CHECK(decibels(speaker_v(faulty, at_output()) / speaker_v(sound, at_output())) ==
          Approx(decibels(160.0 / 120)).margin(0.1));
    // A link at the amplifier leads the current past the plug; the dummy alone and a cut shield leave none.
    CHECK(speaker_v(faulty, at_output({Hookup::lead_on_dummy_at_amp, Hookup::shell_link_at_amp})) <
          0.5 * expected_v);
    CHECK(speaker_v(faulty, at_output({Hookup::shorted_at_amp})) < 0.01 * expected_v);
    CHECK(speaker_v(faulty, at_output({Hookup::isolator})) < 0.01 * expected_v);
}

TEST_CASE("speaker leads beside a cable pick up M dI/dt behind the amplifier", "[simulation]") {
    const auto laid_beside = [](const char* cable) {
        return altered("healthy.json", [cable](json& scenario) {
            quiet_amplifier(scenario);
            scenario["speaker_leads"] = {
                {"length_m", 3}, {"separation_m", 0.02}, {"spacing_mm", 10}, {"beside", cable}};
        });
    };
    // Ott 2009 ch. 2 (from memory): M = mu0/(2 pi) ln(b/a) a metre; 3 m at 2 and 3 cm.
    const double mutual_h = 3 * 2e-7 * std::log(30.0 / 20.0);
    auto vehicle = laid_beside("feed");
    const double expected_v = tau * whine_hz * mutual_h * std::abs(feed_current(0.001));
    CHECK(decibels(speaker_v(vehicle, at_output()) / expected_v) == Approx(0).margin(0.3));
    for (const Hookup stays : {Hookup::shorted_at_amp, Hookup::lead_on_dummy_at_amp, Hookup::isolator})
        CHECK(decibels(speaker_v(vehicle, at_output({stays})) / expected_v) == Approx(0).margin(0.3));
    CHECK(speaker_v(vehicle, at_output({Hookup::test_speaker})) < 0.01 * expected_v);
    CHECK(speaker_v(vehicle, at_output({Hookup::amp_on_own_battery})) < 0.01 * expected_v);
    CHECK(whine_v(vehicle, running()) < 0.01 * expected_v);
    // The amplifier need not be on for it.
    SimulatedConditions off = at_output();
    off.conditions.amplifier = AmplifierState::off;
    CHECK(speaker_v(vehicle, off) > 0.8 * expected_v);

    // Beside the battery's cable it is the rest of the ripple, and all of it once the amplifier has its own
    // battery.
    auto along_battery = laid_beside("battery_cable");
    const double rest_v = tau * whine_hz * mutual_h * std::abs(ripple_current() - feed_current(0.001));
    CHECK(decibels(speaker_v(along_battery, at_output()) / rest_v) == Approx(0).margin(0.3));
    CHECK(speaker_v(along_battery, at_output({Hookup::amp_on_own_battery})) > 0.9 * rest_v);
}

TEST_CASE("a ground difference between amplifier and interface is in the reading at the output",
          "[simulation]") {
    auto vehicle = altered("laptop_on_mains.json", quiet_amplifier);
    SimulatedConditions set = at_output({Hookup::shorted_at_amp});
    set.conditions.engine = Engine::off;
    set.conditions.rpm.reset();
    const auto hum_v = [&](LaptopPower power) {
        set.conditions.laptop = power;
        vehicle.set_conditions(set);
        rendered(vehicle, 0.4);
        return peak_at(rendered(vehicle, 0.6).channel(0), 60, rate_hz);
    };
    CHECK(hum_v(LaptopPower::battery) < 1e-3 * hum_v(LaptopPower::mains));
}

TEST_CASE("every hookup can be made on every vehicle where it can be judged", "[simulation]") {
    for (const auto& entry : std::filesystem::directory_iterator(signals_folder())) {
        if (entry.path().extension() != ".json") continue;
        SimulatedVehicle vehicle(entry.path());
        for (const std::string_view word : words_of<Hookup>()) {
            const Hookup hookup = *from_word<Hookup>(word);
            INFO(entry.path() << ", " << word);
            SimulatedConditions set = at_output({hookup});
            CHECK_NOTHROW(vehicle.set_conditions(set));
            const Block block = rendered(vehicle, 0.02);
            CHECK(std::isfinite(rms(block.channel(0))));
            CHECK(rms(block.channel(0)) > 0);
            const bool output_only = hookup == Hookup::shorted_at_amp ||
                                     hookup == Hookup::lead_on_dummy_at_amp || hookup == Hookup::test_speaker;
            set.conditions.point = Point::amp_input;
            if (output_only)
                CHECK_THROWS_WITH(vehicle.set_conditions(set),
                                  Catch::Contains("judged at the amplifier's output or by ear"));
            else
                CHECK_NOTHROW(vehicle.set_conditions(set));
        }
    }
}

TEST_CASE("meters read the ripple at the amplifier, the drop along its feed, and the shell's link",
          "[simulation]") {
    const auto link_of_34_mohm = [](json& scenario) {
        quiet_amplifier(scenario);
        scenario["source"]["shell_to_case_ohm"] = 0.034;
    };
    auto vehicle = altered("healthy.json", link_of_34_mohm);
    CHECK(vehicle.meter_shell_to_case_ohm() == 0.034);
    vehicle.set_conditions(running());
    // Orders 12 and 18 of a bridge add next to nothing; unbalance of half a percent a little.
    CHECK(decibels(vehicle.meter_ripple_v() * std::numbers::sqrt2 / terminal_v()) == Approx(0).margin(0.5));
    // 1.6 A through 5.5 m of 21.2 mm2 at 40 C
    CHECK(vehicle.meter_supply_drop_v() == Approx(1.6 * 1.7241e-8 * 5.5 / 21.2e-6 * 1.0786).epsilon(1e-3));
    const Block before = rendered(vehicle, 0.1);
    auto twin = altered("healthy.json", link_of_34_mohm);  // never metered
    twin.set_conditions(running());
    const Block same = rendered(twin, 0.1);
    CHECK(std::equal(before.channel(0).begin(), before.channel(0).end(), same.channel(0).begin()));
    vehicle.set_conditions(running({Hookup::amp_on_own_battery}));
    CHECK(vehicle.meter_ripple_v() == Approx(0).margin(1e-9));
    CHECK(vehicle.meter_supply_drop_v() == 0);
}
