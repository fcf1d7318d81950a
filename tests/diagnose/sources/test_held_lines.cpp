#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <utility>

#include "diagnose/whine_take.hpp"

using namespace hushtrace;
using namespace hushtrace::whine_take;

TEST_CASE("a line that holds still may be a held engine's whine", "[whine]") {
    Run run(0, {}, 1000.0, Engine::raised);
    run.survey.families.clear();
    run.hold(1500, 1e-4);
    run.survey.channels[0].lines[0].width_hz = 3;
    auto held = run.held();
    REQUIRE(held.size() == 1);
    CHECK(held[0].frequency_hz == 1500);
    CHECK(held[0].frequency_sd_hz == 0.5);   // a sixth of its width
    CHECK(held[0].prominence_db == 20);
    CHECK(held[0].mean_square == 1e-4);
    CHECK(held[0].usual_constant);
    run.survey.channels[0].lines[0].frequency_sd_hz = 0.8;
    CHECK(run.held()[0].frequency_sd_hz == 0.8);
    run.survey.channels[0].lines[0].prominence_db = 9.9;
    CHECK(run.held().empty());
    run.survey.channels[0].lines[0].prominence_db = 10;
    CHECK(run.held().size() == 1);
    for (const Engine engine : {Engine::off, Engine::ready, Engine::key_on}) {
        run.take.conditions.engine = engine;
        CHECK(run.held().empty());
    }
    run.take.conditions.engine = Engine::raised;
    run.survey.channels[0].lines[0].frequency_hz = 1000;
    CHECK_FALSE(run.held()[0].usual_constant);   // 1 Hz per rpm
    run.survey.channels[0].lines[0].frequency_hz = 700;
    CHECK(run.held().empty());
    // one line of both channels, the stronger one's place; strongest first; a hertz or half a thousandth apart is another
    const auto two = [](double first_hz, double second_hz) {
        Run both(0, {}, 1000.0);
        both.hold(first_hz, 1e-4);
        both.hold(second_hz, 2e-4, 20, 1);
        return both.held();
    };
    REQUIRE(two(1500, 1500.9).size() == 1);
    CHECK(two(1500, 1500.9)[0].frequency_hz == 1500.9);
    CHECK(two(1500, 1500.9)[0].mean_square == 2e-4);
    REQUIRE(two(1500, 1501.1).size() == 2);
    CHECK(two(1500, 1501.1)[0].frequency_hz == 1501.1);
    CHECK(two(2500, 2501.2).size() == 1);
    CHECK(two(2500, 2501.3).size() == 2);
    Run many(0, {}, 1000.0);
    for (int i = 0; i < 33; ++i) many.hold(1200 + 10 * i, 1e-4 * (1 + i));
    CHECK(many.held().size() == 30);
    CHECK(many.held().front().frequency_hz == 1520);
}

TEST_CASE("lines of other takes, of clicks, of pulses and of a phone are no held whine", "[whine]") {
    Run other(0, {});
    other.hold(1500, 1e-5);
    const auto beside = [&other](double hz, double power) {
        Run run(0, {});
        run.hold(hz, power);
        return run.held({&other.survey}).size();
    };
    CHECK(beside(1501.9, 0.99e-4) == 0);   // a tenth as strong in the other take, within 2 Hz
    CHECK(beside(1498.1, 0.99e-4) == 0);
    CHECK(beside(1502.1, 0.99e-4) == 1);
    CHECK(beside(1501.9, 1.01e-4) == 1);
    other.survey.channels[0].lines[0].frequency_hz = 2500;
    CHECK(beside(2502.4, 0.99e-4) == 0);   // or a thousandth
    CHECK(beside(2502.6, 0.99e-4) == 1);
    // 752 Hz and more may be whine at 1000 rpm: the tooth beside it lies below
    const auto tooth = [](double rate_hz, double other_hz, double power) {
        Run run(0, {});
        run.hold(760, 1e-2);
        run.hold(other_hz, power);
        run.click(rate_hz);
        return run.held().empty();
    };
    CHECK(tooth(25, 735, 1.21e-3));
    CHECK_FALSE(tooth(25, 735, 1.19e-3));
    CHECK(tooth(25, 733.6, 1e-2));
    CHECK(tooth(25, 736.4, 1e-2));
    CHECK_FALSE(tooth(25, 733.4, 1e-2));
    CHECK_FALSE(tooth(25, 736.6, 1e-2));
    CHECK(tooth(150, 612.9, 1e-2));   // 2 % of the rate, where that is more
    CHECK_FALSE(tooth(150, 613.1, 1e-2));
    const auto with_phone = [](double hz, std::size_t teeth) {
        Run run(0, {});
        run.hold(hz, 1e-2);
        run.survey.channels[0].phone = CombStretch{};
        run.survey.channels[0].phone->comb.spacing_hz = 1300.0 / 6;
        run.survey.channels[0].phone->comb.teeth.resize(teeth);
        return run.held().empty();
    };
    CHECK(with_phone(1302.4, 3));
    CHECK(with_phone(1297.6, 3));
    CHECK_FALSE(with_phone(1302.6, 3));
    CHECK_FALSE(with_phone(1302.4, 2));
    Run pulses(0, {});
    pulses.hold(1500, 1e-2);
    pulses.survey.channels[1].pulses = HuntingPulses{};
    pulses.survey.channels[1].pulses->rate_hz = 1500;
    pulses.survey.channels[1].pulses->width_hz = 20;
    CHECK(pulses.held().empty());
}

TEST_CASE("where clicks tell beyond doubt that the engine wanders, no line of it holds still", "[whine]") {
    const auto smeared = [](double hz, double wander, double significance = 61, double rate_hz = 100) {
        Run run(0, {});
        run.hold(hz, 1e-2);
        run.click(rate_hz, significance, 0, wander);
        return run.held().empty();
    };
    CHECK(smeared(2050, 0.003));        // it would move by 6.15 Hz
    CHECK_FALSE(smeared(1950, 0.003));  // 5.85
    CHECK_FALSE(smeared(2050, 0.003, 59));
    CHECK(smeared(2050, 0.0199));
    CHECK_FALSE(smeared(2050, 0.0201));
    CHECK_FALSE(smeared(4550, 0.0014));   // the rate's own reading strays as much
    // one of the clicks' multiples: within 1.5 Hz and three times what they stray there, or a quarter of the rate
    CHECK(smeared(1501.4, 0.0));
    CHECK(smeared(1498.6, 0.0));
    CHECK_FALSE(smeared(1501.6, 0.0));
    CHECK(smeared(1505.9, 0.001));   // 1.5 + 4.5
    CHECK_FALSE(smeared(1506.1, 0.001));
    CHECK(smeared(1504.9, 0.003, 61, 20));
    CHECK_FALSE(smeared(1505.1, 0.003, 61, 20));
}

TEST_CASE("a held whine holds its first three multiples", "[whine]") {
    Run run(0, {}, 1000.0);
    for (const auto& [hz, power] :
         {std::pair{1502.0, 0.1}, {3004.0, 0.02}, {4506.0, 0.01}, {6000.0, 0.3}, {1503.0, 0.4}, {3005.0, 0.4}, {4507.0, 0.4}})
        run.hold(hz, power);
    run.hold(1500, 0.2, 20, 1);
    run.hold(2995.6, 0.03, 20, 1);
    run.hold(2995.4, 0.03, 20, 1);
    HeldLine line;
    line.frequency_hz = 1500;
    line.frequency_sd_hz = 0.3;
    line.prominence_db = 17;
    line.usual_constant = true;
    // each within 0.15 % of its place
    const WhineInTake whine = held_whine_at(run.survey, line);
    CHECK(whine.survey == &run.survey);
    CHECK_FALSE(whine.family);
    CHECK(whine.frequency_hz == 1500);
    CHECK(whine.frequency_sd_hz == 0.3);
    CHECK(whine.significance == 17);
    CHECK(whine.usual_constant);
    CHECK(*whine.hz_per_rpm == Approx(1.5));
    REQUIRE(whine.mean_square.size() == 2);
    CHECK(whine.mean_square[0] == Approx(0.13));
    CHECK(whine.mean_square[1] == Approx(0.23));
    REQUIRE(whine.harmonics.size() == 3);
    CHECK(whine.harmonics[0].number == 1);
    CHECK(whine.harmonics[2].number == 3);
    CHECK(whine.harmonics[2].frequency_hz == 4506);
    CHECK(whine.harmonics[2].level_dbfs == Approx(10 * std::log10(2 * 0.01)));
    CHECK(whine.multiples == 2);
    line.frequency_hz = 1000;   // 2 Hz, where 0.15 % is less
    Run low(0, {}, std::nullopt);
    low.hold(1001.9, 0.1);
    low.hold(997.9, 0.1);
    CHECK(held_whine_at(low.survey, line).mean_square[0] == Approx(0.1));
    CHECK_FALSE(held_whine_at(low.survey, line).hz_per_rpm);
    low.take.conditions.rpm = 0;
    CHECK_FALSE(held_whine_at(low.survey, line).hz_per_rpm);
}

TEST_CASE("two tracks go together by the cosine of what their swings lie apart", "[whine]") {
    // over whole periods the correlation of two sines is the cosine of their phase's difference, whatever their size
    const auto track = [](double seconds, double mean_hz, double swing, double phase, double from_s = 0) {
        Track out;
        for (double t = from_s; t < from_s + seconds; t += 0.05) {
            out.time_s.push_back(t);
            out.frequency_hz.push_back(mean_hz + swing * std::sin(2 * std::numbers::pi * t / 5 + phase));
        }
        return out;
    };
    const Track one = track(10.65, 100, 1, 0);
    for (const double degrees : {0.0, 60.0, 90.0, 120.0, 180.0}) {
        const double phase = degrees * std::numbers::pi / 180;
        CHECK(correlation_of(one, track(10.65, 40, 3, phase)) == Approx(std::cos(phase)).margin(0.01));
    }
    CHECK(correlation_of(one, track(10.65, 40, 0, 0)) == 0.0);
    // smoothed over half a second: what jumps up and down every 0.1 s falls to a fifth
    Track jumping = one;
    for (std::size_t i = 0; i < jumping.time_s.size(); ++i) jumping.frequency_hz[i] += i / 2 % 2 == 0 ? 0.7 : -0.7;
    CHECK(correlation_of(one, jumping) > 0.95);
    CHECK(correlation_of(jumping, one) > 0.95);
    CHECK(correlation_of(one, {}) == 0.0);
    CHECK(correlation_of({}, one) == 0.0);
    // of what they share, 0.3 s less on either side, a second is the least
    CHECK(correlation_of(one, track(1.5, 40, 3, 0, 3.0)) == 0.0);
    CHECK(correlation_of(one, track(1.75, 40, 3, 0, 3.0)) == Approx(1.0).margin(0.01));
    CHECK(correlation_of(track(1.75, 40, 3, 0, 3.0), one) == Approx(1.0).margin(0.01));
}
