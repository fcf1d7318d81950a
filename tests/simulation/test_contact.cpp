#include <algorithm>
#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"
#include "steady_drive.hpp"

using namespace hushtrace;
using namespace simulation_test;

namespace {

/// A loop with a joint in it. The interface floats: a grounded one ties the two shells together.
SimulatedVehicle with_joint(double ohm, const char* place, const char* side,
                            const std::function<void(json&)>& edit = {}) {
    return altered("healthy.json", [&](json& scenario) {
        make_steady(scenario);
        scenario["interface"]["input"] = "floating";
        scenario["amplifier"]["ground_mohm"] = 9;
        scenario["lead"]["right_over_left"] = 1;
        scenario["lead"]["contact"] = {{"ohm", ohm}, {"place", place}, {"side", side}};
        if (edit) edit(scenario);
    });
}
void shell_on_chassis(json& scenario) {
    scenario["amplifier"]["shell_to_ground_ohm"] = 0.05;
}

/// The whine's peak in left and right [V].
std::array<double, 2> both_v(SimulatedVehicle& vehicle, const SimulatedConditions& set) {
    vehicle.set_conditions(set);
    rendered(vehicle, 0.4);
    const Block block = rendered(vehicle, 0.6);
    return {0.1 * peak_at(block.channel(0), whine_hz, rate_hz),
            0.1 * peak_at(block.channel(1), whine_hz, rate_hz)};
}

/// Currents of the two shields, from Kirchhoff's equations of the whole circuit with each shell on its own
/// way to the amplifier's ground, solved as they stand [A].
std::array<std::complex<double>, 2> shield_currents(double left_ohm, double right_ohm,
                                                    double shell_to_ground_ohm) {
    const std::complex<double> ground_v = feed_current(0.009) * 0.0091;
    // shared by both: joints of 9 and 4 mohm, 20 mohm of shell to case, 5.5 uH
    const std::complex<double> shared(0.009 + 0.004 + 0.02, tau * whine_hz * 5.5e-6);
    const std::complex<double> a = left_ohm + 2 * shell_to_ground_ohm + shared,
                               b = right_ohm + 2 * shell_to_ground_ohm + shared;
    const std::complex<double> determinant = a * b - shared * shared;
    return {ground_v * (b - shared) / determinant, ground_v * (a - shared) / determinant};
}
std::array<double, 2> on_paper_v(double left_ohm, double right_ohm, double shell_to_ground_ohm) {
    const auto amps = shield_currents(left_ohm, right_ohm, shell_to_ground_ohm);
    const std::complex<double> shell_v = 0.02 * (amps[0] + amps[1]);
    return {std::abs(amps[0] * left_ohm + shell_v), std::abs(amps[1] * right_ohm + shell_v)};
}

/// Whine in windows of a third of a second, in dB [windows].
std::vector<double> whine_levels(SimulatedVehicle& vehicle, double duration_s) {
    vehicle.set_conditions(running());
    rendered(vehicle, 0.4);
    const Block block = rendered(vehicle, duration_s);
    std::vector<double> levels;
    for (std::size_t from = 0; from + 16000 <= block.frames(); from += 16000)
        levels.push_back(decibels(peak_at(block.channel(0).subspan(from, 16000), whine_hz, rate_hz)));
    return levels;
}
double largest_step(const std::vector<double>& levels) {
    double largest = 0;
    for (std::size_t i = 1; i < levels.size(); ++i)
        largest = std::max(largest, std::abs(levels[i] - levels[i - 1]));
    return largest;
}
double spread(const std::vector<double>& levels) {
    const auto [low, high] = std::minmax_element(levels.begin(), levels.end());
    return *high - *low;
}

}  // namespace

TEST_CASE("a joint of no resistance changes nothing", "[simulation]") {
    for (const InterfaceInput input : {InterfaceInput::floating, InterfaceInput::grounded}) {
        const auto edit = [&](json& scenario) {
            shell_on_chassis(scenario);
            scenario["interface"]["input"] = to_word(input);
        };
        auto joined = with_joint(0, "shell_at_amp", "left", edit);
        auto plain = with_joint(0, "shell_at_amp", "left", [&](json& scenario) {
            edit(scenario);
            scenario["lead"].erase("contact");
        });
        for (const Hookup hookup : {Hookup::normal, Hookup::shorted_at_source, Hookup::shell_link_at_amp,
                                    Hookup::source_shell_link}) {
            INFO(to_word(input) << ", " << to_word(hookup));
            // both ways bend the shield's corner by the bilinear transform, one of them warped to it: 0.1 dB
            // here
            const auto with = both_v(joined, running({hookup})), without = both_v(plain, running({hookup}));
            for (std::size_t side = 0; side < 2; ++side)
                CHECK(decibels(with[side] / without[side]) == Approx(0).margin(0.15));
        }
    }
}

TEST_CASE("a joint in one shell brings its own share of the ground difference into its own channel",
          "[simulation]") {
    struct Case {
        double joint_ohm, shell_to_ground_ohm;
    };
    for (const Case& one :
         {Case{0.5, 0.05}, Case{5, 0.05}, Case{50, 0.05}, Case{20, 470}, Case{200, 470}, Case{1e5, 470}}) {
        INFO(one.joint_ohm << " ohm, shell on " << one.shell_to_ground_ohm);
        const auto expected = on_paper_v(0.2 + one.joint_ohm, 0.2, one.shell_to_ground_ohm);
        for (const char* place : {"shell_at_source", "shell_at_amp"}) {
            auto vehicle = with_joint(one.joint_ohm, place, "left", [&](json& scenario) {
                scenario["amplifier"]["shell_to_ground_ohm"] = one.shell_to_ground_ohm;
                // far from the feed: what is left is the loop
                scenario["lead"]["separation_m"] = 5;
                scenario["lead"]["core_offset_mm"] = 0;
            });
            const auto read = both_v(vehicle, running());
            CHECK(decibels(read[0] / expected[0]) == Approx(0).margin(0.3));
            if (one.shell_to_ground_ohm < 1) CHECK(decibels(read[1] / expected[1]) == Approx(0).margin(0.3));
            CHECK(read[0] > read[1]);
        }
    }
}

TEST_CASE("the level at a joint follows the divider of joint and isolation", "[simulation]") {
    // With the shells isolated by 470 ohm (940 each) a joint of R takes R / (R + 940) of the ground
    // difference.
    auto small = with_joint(30, "shell_at_source", "right"),
         large = with_joint(300, "shell_at_source", "right");
    const double ratio = (300.0 / 1240) / (30.0 / 970);
    CHECK(decibels(both_v(large, running())[1] / both_v(small, running())[1]) ==
          Approx(decibels(ratio)).margin(0.2));
}

TEST_CASE("hookups act on a joint by where it sits", "[simulation]") {
    auto at_source = with_joint(100, "shell_at_source", "left"),
         at_amp = with_joint(100, "shell_at_amp", "left");
    const double source_v = both_v(at_source, running())[0], amp_v = both_v(at_amp, running())[0];
    for (auto* vehicle : {&at_source, &at_amp}) {
        // another lead has other plugs; an isolator, a dummy that touches nothing, another supply open the
        // loop
        for (const Hookup gone :
             {Hookup::temporary_lead, Hookup::isolator, Hookup::dummy_floating, Hookup::unplugged_at_source,
              Hookup::source_on_own_battery, Hookup::amp_on_own_battery, Hookup::substitute_source})
            CHECK(both_v(*vehicle, running({gone}))[0] < 0.1 * source_v);
        // a dummy on the source's jack leaves the joint in the loop
        CHECK(decibels(both_v(*vehicle, running({Hookup::shorted_at_source}))[0] / source_v) ==
              Approx(0).margin(1));
    }
    // the link at the source lies beside a joint there, and not beside one at the amplifier
    CHECK(both_v(at_source, running({Hookup::source_shell_link}))[0] < 0.05 * source_v);
    CHECK(decibels(both_v(at_amp, running({Hookup::source_shell_link}))[0] / amp_v) == Approx(0).margin(0.2));
    // in front of the amplifier's gain as well
    SimulatedConditions set = running();
    set.conditions.point = Point::amp_output;
    // (healthy.json's amplifier: 26 dB; the pad 20)
    CHECK(decibels(both_v(at_source, set)[0] / source_v) == Approx(6).margin(0.5));
    set.conditions.hookup = {Hookup::shorted_at_amp};
    CHECK(both_v(at_source, set)[0] < 0.1 * source_v);
}

TEST_CASE("a grounded interface ties the shells together and hides a joint in one of them", "[simulation]") {
    auto floating = with_joint(100, "shell_at_source", "left");
    auto grounded = with_joint(100, "shell_at_source", "left",
                               [](json& scenario) { scenario["interface"]["input"] = "grounded"; });
    const auto read = both_v(grounded, running());
    CHECK(read[0] < 0.05 * both_v(floating, running())[0]);
    CHECK(decibels(read[0] / read[1]) ==
          Approx(0).margin(0.1));  // both sides are read against the one ground
}

TEST_CASE("a joint's level wanders by as much as its resistance, and jumps when something moves",
          "[simulation]") {
    const auto levels = [](double wander_percent, double events_per_minute, double duration_s) {
        auto vehicle = with_joint(20, "shell_at_source", "left", [&](json& scenario) {
            scenario["lead"]["contact"]["wander_percent"] = wander_percent;
            scenario["lead"]["contact"]["events_per_minute"] = events_per_minute;
        });
        return whine_levels(vehicle, duration_s);
    };
    CHECK(spread(levels(0, 0, 6)) < 0.1);
    // 20 ohm beside 940: the level is as good as in proportion to the joint. A lognormal of 30 % has a
    // standard deviation of sqrt(ln 1.09) nepers, 2.55 dB. 240 s of a memory of 1.5 s are 80 independent
    // values: 8 % of the deviation, three sigma.
    const auto wandering = levels(30, 0, 240);
    double mean = 0, square = 0;
    for (const double level : wandering) mean += level / static_cast<double>(wandering.size());
    for (const double level : wandering)
        square += (level - mean) * (level - mean) / static_cast<double>(wandering.size());
    CHECK(std::sqrt(square) == Approx(8.686 * std::sqrt(std::log(1.09))).epsilon(0.25));
    CHECK(largest_step(levels(0, 60, 30)) > 4);
}

TEST_CASE("a joint in the core takes its share of the signal and lets a stray capacitance in",
          "[simulation]") {
    const auto edit = [](json& scenario) {
        scenario["lead"]["stray_pf"] = 300;
        scenario["interface"]["volts_full_scale"] = {7, 7};
    };
    auto vehicle = with_joint(30000, "core_at_source", "right", edit);
    SimulatedConditions set;
    set.interface_feeds_source = true;
    set.conditions.volume = 20;
    const auto tone = sine(1000, 0.3, 48000, rate_hz);
    Block block;
    const auto right_over_left = [&](const SimulatedConditions& now) {
        vehicle.set_conditions(now);
        vehicle.render(tone, block);
        return peak_at(block.channel(1).subspan(9600, 38400), 1000, rate_hz) /
               peak_at(block.channel(0).subspan(9600, 38400), 1000, rate_hz);
    };
    // 15 kohm of input behind 150 ohm of source: 15/45.15 of the signal with the joint, 15/15.15 without
    CHECK(decibels(right_over_left(set)) == Approx(decibels(15.15 / 45.15)).margin(0.05));
    set.conditions.hookup = {Hookup::temporary_lead};
    CHECK(decibels(right_over_left(set)) == Approx(0).margin(0.05));

    // V = omega R C V1 (Ott 2009 ch. 2, from memory), R the core's ends in parallel: 15 k beside 150 and
    // beside 30.15 k.
    auto quiet = with_joint(30000, "core_at_source", "right", [](json& scenario) {
        scenario["lead"]["stray_pf"] = 3000;
        scenario["amplifier"]["ground_mohm"] = 0.05;
        scenario["vehicle"]["body_mohm"] = 0;
        scenario["lead"]["separation_m"] = 5;
        scenario["lead"]["core_offset_mm"] = 0;
    });
    const auto read = both_v(quiet, running());
    const double with = 15000.0 * 30150 / 45150, without = 15000.0 * 150 / 15150;
    CHECK(decibels(read[1] / read[0]) == Approx(decibels(with / without)).margin(0.5));
}

TEST_CASE("a contact that makes no sense is refused by its field", "[simulation]") {
    const auto refusal = [](const json& contact) -> std::string {
        try {
            altered("healthy.json", [&](json& scenario) { scenario["lead"]["contact"] = contact; });
        } catch (const Error& error) {
            CHECK(error.kind() == ErrorKind::invalid_input);
            return error.what();
        }
        return "was not refused";
    };
    using Catch::Contains;
    CHECK_THAT(refusal({{"ohm", -1}, {"place", "shell_at_amp"}}), Contains("lead.contact.ohm"));
    CHECK_THAT(refusal({{"place", "shell_at_amp"}}), Contains("lead.contact.ohm"));
    CHECK_THAT(refusal({{"ohm", 1}, {"place", "on_the_moon"}}), Contains("lead.contact.place"));
    CHECK_THAT(refusal({{"ohm", 1}, {"place", "shell_at_amp"}, {"side", "top"}}),
               Contains("lead.contact.side"));
    CHECK_THAT(refusal({{"ohm", 1}, {"place", "shell_at_amp"}, {"wander_percent", 1e9}}),
               Contains("lead.contact.wander_percent"));
    CHECK_THAT(refusal({{"ohm", 1}, {"place", "shell_at_amp"}, {"colour", "green"}}),
               Contains("lead.contact.colour"));
}
