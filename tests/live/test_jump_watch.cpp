#include <catch2/catch.hpp>

#include <cmath>
#include <functional>
#include <numbers>
#include <optional>
#include <random>

#include "hushtrace/live/jump_watch.hpp"

using namespace hushtrace;

namespace {

constexpr double rate = 48000;

/// Noise of rms 1e-3 whose level changes as told, with more added; the first jump.
std::optional<Jump> first_jump(double seconds, const std::function<double(double)>& gain_db, const std::function<double(double)>& more = nullptr) {
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal(0.0, 1e-3);
    JumpWatch watch(1, rate);
    for (double t = 0; t < seconds;) {
        Block block(1, 1024);
        for (double& v : block.channel(0)) {
            v = std::pow(10.0, gain_db(t) / 20.0) * normal(random) + (more ? more(t) : 0.0);
            t += 1.0 / rate;
        }
        watch.add(block);
        if (const auto jump = watch.jump()) return jump;
    }
    return std::nullopt;
}

}  // namespace

TEST_CASE("a rise of 8 dB that holds is a jump, at its own moment", "[jump]") {
    const auto jump = first_jump(15, [](double t) { return t < 10 ? 0.0 : 8.0; });
    REQUIRE(jump);
    CHECK(jump->time_s == Approx(10.0).margin(0.06));
    CHECK(jump->rise_db == Approx(8.0).margin(1.0));
    CHECK(jump->text == "all sound rose by 8 dB at once");
}

TEST_CASE("steady noise, a rise of 4 dB, a slow climb, a flash of 20 ms, a fall: no jump", "[jump]") {
    CHECK_FALSE(first_jump(40, [](double) { return 0.0; }));
    CHECK_FALSE(first_jump(20, [](double t) { return t < 10 ? 0.0 : 4.0; }));
    CHECK_FALSE(first_jump(40, [](double t) { return 0.5 * t; }));
    CHECK_FALSE(first_jump(20, [](double t) { return t > 10 && t < 10.02 ? 9.0 : 0.0; }));
    CHECK_FALSE(first_jump(20, [](double t) { return t < 10 ? 0.0 : -20.0; }));
}

TEST_CASE("crackle that comes anew is a jump; even clicks that are always there are none", "[jump]") {
    const auto click = [](double t, double every_s) { return std::fmod(t, every_s) < 2e-4 ? 0.06 : 0.0; };
    CHECK_FALSE(first_jump(30, [](double) { return 0.0; }, [&](double t) { return click(t, 0.0385); }));
    const auto jump = first_jump(20, [](double) { return 0.0; }, [&](double t) { return t > 12 && t < 12.6 ? click(t, 0.09) : 0.0; });
    REQUIRE(jump);
    CHECK(jump->time_s == Approx(12.1).margin(0.15));
}

TEST_CASE("a rise is told as what it is, wherever in a frame it begins; clicks alone are clicks", "[jump]") {
    for (const double rise_db : {7.0, 9.0, 12.0, 30.0})
        for (const double phase_s : {0.0, 0.007, 0.013, 0.022}) {
            INFO(rise_db << " dB at 6 s and " << phase_s);
            const auto jump = first_jump(7, [&](double t) { return t < 6 + phase_s ? 0.0 : rise_db; });
            REQUIRE(jump);
            CHECK(jump->text.starts_with("all sound rose by"));
            CHECK(jump->time_s == Approx(6 + phase_s).margin(0.06));
        }
    const auto clicks = first_jump(8, [](double) { return 0.0; }, [](double t) { return t > 6 && std::fmod(t, 0.09) < 2e-4 ? 0.06 : 0.0; });
    REQUIRE(clicks);
    CHECK(clicks->text.starts_with("crackle: clicks rose by"));
    // a rumble of 60 Hz, 23 dB over the noise, hides that the noise rises by 12 dB; its differences don't
    const auto rumble = [](double t) { return 0.02 * std::sin(2 * std::numbers::pi * 60.0 * t); };
    const auto hiss = first_jump(8, [](double t) { return t < 6 ? 0.0 : 12.0; }, rumble);
    REQUIRE(hiss);
    CHECK(hiss->text.starts_with("high-pitched sound rose by"));
    CHECK(hiss->time_s == Approx(6.0).margin(0.06));
}

TEST_CASE("what is followed goes before all sound, although its window is longer", "[jump]") {
    std::mt19937_64 random(3);
    std::normal_distribution<double> normal(0.0, 1e-3);
    JumpWatch watch(1, rate);
    std::optional<Jump> jump;
    for (int i = 0; i < 12 * 40 && !jump; ++i) {
        const double t = 0.025 * (i + 1);
        Block block(1, 1200);
        for (double& v : block.channel(0)) v = (t > 10 ? 4.0 : 1.0) * normal(random);
        watch.add(block);
        watch.add(FollowedPower{t, 1000.0, {{t > 10.25 ? 1e-6 : 1e-8, 0.0, {}}}, {false}}, "alternator whine");
        jump = watch.jump();
    }
    REQUIRE(jump);
    CHECK(jump->text == "alternator whine rose by 20 dB at once");
    CHECK(jump->time_s == Approx(10.0).margin(0.06));   // when it showed first
}

TEST_CASE("a jump that nobody takes begins no minute of quiet; from a new beginning on what came before does not count", "[jump]") {
    JumpWatch watch(1, rate);
    std::optional<Jump> jump;
    const auto run = [&](double from_s, double to_s, bool takes) {
        for (double t = from_s; t < to_s && !jump; t += 0.025) {
            const bool loud = (t > 20 && t < 25) || (t > 40 && t < 45) || t > 60;
            watch.add(FollowedPower{t, 1000.0, {{loud ? 1e-6 : 1e-8, 0.0, {}}}, {false}}, "hum");
            if (takes) jump = watch.jump();
        }
    };
    run(0, 22, false);
    watch.watch_from_now();
    CHECK_FALSE(watch.jump());
    run(22, 39, true);   // it is loud still at first, but rose before
    CHECK_FALSE(jump);
    run(39, 45, true);
    REQUIRE(jump);
    CHECK(jump->time_s == Approx(40.0).margin(0.06));
    jump.reset();
    run(45, 50, true);
    watch.watch_from_now();   // ends the minute of quiet
    run(50, 62, true);
    REQUIRE(jump);
    CHECK(jump->time_s == Approx(60.0).margin(0.06));
}

TEST_CASE("one jump a minute, and the followed source's own rise counts", "[jump]") {
    JumpWatch watch(1, rate);
    const auto reading = [](double t, double power, bool at_most) { return FollowedPower{t, 1000.0, {{power, 0.0, {}}}, {at_most}}; };
    std::vector<double> jumps;
    for (int i = 0; i < 100 * 40; ++i) {
        const double t = 0.025 * i;
        // hidden, then out from behind it: at 20 s, and again at 40 s and 85 s
        const bool loud = (t > 20 && t < 25) || (t > 40 && t < 45) || t > 85;
        watch.add(reading(t, loud ? 1e-6 : 1e-8, !loud), "alternator whine");
        if (const auto jump = watch.jump()) {
            jumps.push_back(jump->time_s);
            CHECK(jump->text == "alternator whine rose by 20 dB at once");
        }
    }
    REQUIRE(jumps.size() == 2);
    CHECK(jumps[0] == Approx(20.0).margin(0.06));
    CHECK(jumps[1] == Approx(85.0).margin(0.06));
}
