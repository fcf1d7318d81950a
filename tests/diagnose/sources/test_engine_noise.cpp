#include <catch2/catch.hpp>
#include <cmath>
#include <utility>

#include "diagnose/whine_take.hpp"

using namespace hushtrace;
using namespace hushtrace::whine_take;

namespace {

std::optional<WhineCandidate> candidate_at(const Run& run, double ratio) {
    for (const WhineCandidate& one : whine_candidates(run.survey))
        if (std::abs(one.ratio - ratio) < 1e-9) return one;
    return std::nullopt;
}
bool leads(double mean_hz, const Lines& lines) { return candidate_at(Run(mean_hz, lines), 1.0).has_value(); }

/// A carrier of 1500 Hz whose phase swings by a radian 25 times a second: Bessel functions of the first kind at 1 are 0.7652, 0.4401, 0.1149, 0.0196.
struct Swing {
    double rate = 25.0 / 1500.0, carrier = 0.7652 * 0.7652;
    double below = 0.4401 * 0.4401, above = below, second_below = 0.1149 * 0.1149, second_above = second_below, second_at = 2.0;
    Lines lines() const {
        Lines out = {{1.0, carrier}, {1 - rate, below}, {1 + rate, above}};
        if (second_below > 0) out.emplace_back(1 - second_at * rate, second_below);
        if (second_above > 0) out.emplace_back(1 + second_at * rate, second_above);
        return out;
    }
};
double power_of_whine(const Lines& lines) {
    const Run run(1500, lines);
    WhineCandidate candidate;
    candidate.frequency_hz = 1500;
    const auto whine = whine_at(run.survey, candidate);
    REQUIRE(whine);
    return whine->mean_square[0] + whine->mean_square[1];
}

}  // namespace

TEST_CASE("a line may be the whine where an alternator can turn so fast", "[whine]") {
    // Hertz per rpm of 0.8 to 2.8, usually 1.2 to 2.4, two sets of windings twice that; a stated speed is good to 6 %. With none stated: idle runs
    // at 550 to 1500 rpm (warm 600 to 1000), raised at up to 4500 (usually 1200 to 3500).
    struct Case {
        Engine engine;
        std::optional<double> rpm;
        double possible_from, usual_from, usual_to, possible_to;
    };
    for (const Case& one : {Case{Engine::idle, 1000.0, 752, 1128, 2544, 5936}, Case{Engine::raised, 2000.0, 1504, 2256, 5088, 11872},
                            Case{Engine::idle, {}, 440, 720, 2400, 8400}, Case{Engine::idle, 0.0, 440, 720, 2400, 8400},
                            Case{Engine::raised, {}, 440, 1440, 8400, 25200}}) {
        INFO(to_word(one.engine) << " " << one.rpm.value_or(-1));
        const auto at = [&](double hz) { return candidate_at(Run(hz, {{1.0, 1e-4}}, one.rpm, one.engine), 1.0); };
        CHECK_FALSE(at(0.9999 * one.possible_from));
        CHECK_FALSE(at(1.0001 * one.possible_to));
        for (const double hz : {1.0001 * one.possible_from, 0.9999 * one.usual_from, 1.0001 * one.usual_to, 0.9999 * one.possible_to}) {
            REQUIRE(at(hz));
            CHECK_FALSE(at(hz)->usual_constant);
            CHECK(at(hz)->merit_db == Approx(-47));   // 1e-4 is -40 dB, 7 less where the constant is unusual
            CHECK(at(hz)->frequency_hz == Approx(hz));
        }
        for (const double hz : {1.0001 * one.usual_from, 0.9999 * one.usual_to}) {
            REQUIRE(at(hz));
            CHECK(at(hz)->usual_constant);
            CHECK(at(hz)->merit_db == Approx(-40));
        }
    }
    for (const Engine engine : {Engine::off, Engine::accessory, Engine::key_on})
        CHECK(whine_candidates(Run(1500, {{1.0, 1.0}}, 1000.0, engine).survey).empty());
    for (const Engine engine : {Engine::ready, Engine::sweep, Engine::cranking})
        CHECK(whine_candidates(Run(1500, {{1.0, 1.0}}, 1000.0, engine).survey).size() == 1);
}

TEST_CASE("a whine's merit is its own power and its relatives'", "[whine]") {
    // power together, half of what its own lacks to that, 2 dB for each relative up to three
    const auto merit = [](const Lines& lines) { return candidate_at(Run(1500, lines), 1.0).value().merit_db; };
    const auto as = [](double own, double all, double relatives) { return 10 * std::log10(all) + 5 * std::log10(own / all) + 2 * relatives; };
    CHECK(merit({{1.0, 0.1}}) == Approx(as(0.1, 0.1, 0)));
    CHECK(merit({{1.0, 0.1}, {2.0, 0.02}, {3.0, 0.005}, {4.0, 0.002}}) == Approx(as(0.1, 0.127, 3)));
    CHECK(merit({{1.0, 0.1}, {4.0, 0.002}, {5.0, 0.01}}) == Approx(as(0.1, 0.102, 1)));   // the fifth multiple counts for nothing
    CHECK(merit({{1.0 / 6, 0.01}, {5.0 / 6, 0.03}, {1.0, 0.1}}) == Approx(as(0.1, 0.14, 2)));
    CHECK(merit({{2.0 / 6, 0.01}, {3.0 / 6, 0.02}, {4.0 / 6, 0.04}, {1.0, 0.1}, {2.0, 0.02}}) == Approx(as(0.1, 0.19, 3)));
    const auto of_second = [](const Lines& lines) { return candidate_at(Run(750, lines), 2.0).value().merit_db; };   // where another was followed
    CHECK(of_second({{1.0 / 3, 0.01}, {2.0, 0.1}, {4.0, 0.02}, {12.0, 0.02}}) == Approx(as(0.1, 0.13, 2)));
    CHECK(candidate_at(Run(750, {{1.0, 0.299}, {2.0, 0.1}, {4.0, 0.001}}), 2.0));
    CHECK_FALSE(candidate_at(Run(750, {{1.0, 0.301}, {2.0, 0.1}, {4.0, 0.001}}), 2.0));
    // a relative lies within 0.06 % of its place, or 2 Hz; of two the stronger counts
    CHECK(merit({{1.0, 0.1}, {2.0 + 1.9 / 1500, 0.02}}) == Approx(as(0.1, 0.12, 1)));
    CHECK(merit({{1.0, 0.1}, {2.0 + 2.1 / 1500, 0.02}}) == Approx(as(0.1, 0.1, 0)));
    CHECK(merit({{1.0, 0.1}, {4.0023, 0.02}}) == Approx(as(0.1, 0.12, 1)));
    CHECK(merit({{1.0, 0.1}, {4.0025, 0.02}}) == Approx(as(0.1, 0.1, 0)));
    CHECK(merit({{1.0, 0.1}, {1.9995, 0.01}, {2.0, 0.03}, {2.0005, 0.02}}) == Approx(as(0.1, 0.13, 1)));
}

TEST_CASE("what another line of its family leads is not the whine", "[whine]") {
    // a multiple of more than three times its power; an octave below, unless a sixth, third or two thirds tell of a faulty stator
    for (const double times : {2.0, 3.0, 4.0}) {
        CHECK(leads(1500, {{1.0, 0.1}, {times, 0.299}}));
        CHECK_FALSE(leads(1500, {{1.0, 0.1}, {times, 0.301}}));
    }
    CHECK(leads(1500, {{0.5, 0.299}, {1.0, 0.1}}));
    CHECK_FALSE(leads(1500, {{0.5, 0.301}, {1.0, 0.1}}));
    for (const double part : {1.0 / 6, 1.0 / 3, 2.0 / 3}) CHECK(leads(1500, {{part, 1e-3}, {0.5, 0.301}, {1.0, 0.1}}));
    // any other of more than four times what it explains, but for rumble below 250 Hz
    CHECK(leads(1500, {{1.0, 0.1}, {1.37, 0.399}}));
    CHECK_FALSE(leads(1500, {{1.0, 0.1}, {1.37, 0.401}}));
    CHECK(leads(1600, {{249.0 / 1600, 10.0}, {1.0, 0.1}}));
    CHECK_FALSE(leads(1600, {{251.0 / 1600, 10.0}, {1.0, 0.1}}));
    // and a five-hundredth of what it explains is the least
    CHECK(leads(1500, {{1.0 / 3, 0.05}, {1.0, 1.01e-4}}));
    CHECK_FALSE(leads(1500, {{1.0 / 3, 0.05}, {1.0, 0.99e-4}}));
}

TEST_CASE("a whine's frequency is as sure as its reading and the speed's straying over the take", "[whine]") {
    Run run(1500, {{2.0, 0.1}});
    run.survey.families[0].lines[0].ratio_sd = 2e-3;
    CHECK(candidate_at(run, 2.0)->frequency_sd_hz == Approx(3.0));   // 0.4 % of 3000 Hz over sixteen half seconds: 3 Hz as well
    run.survey.families[0].wander = 0.01;
    CHECK(candidate_at(run, 2.0)->frequency_sd_hz == Approx(7.5));
    run.survey.duration_s = 0.2;
    CHECK(candidate_at(run, 2.0)->frequency_sd_hz == Approx(30));
    CHECK(candidate_at(run, 2.0)->family == 0);
    run.survey.families.insert(run.survey.families.begin(), MovingFamily{});
    CHECK(candidate_at(run, 2.0)->family == 1);
}

TEST_CASE("a motor's turns, pulses' humps and the clicks' comb are no whine", "[whine]") {
    CHECK(whine_candidates(Run(1134, {{8.0 / 9, 0.05}, {1.0, 1.0}, {10.0 / 9, 0.05}, {2.0, 0.1}}).survey).empty());   // nine bars
    Run pulses(1500, {{1.0, 0.1}});
    pulses.survey.channels[1].pulses = HuntingPulses{};
    pulses.survey.channels[1].pulses->rate_hz = 1500;
    pulses.survey.channels[1].pulses->width_hz = 20;
    CHECK(whine_candidates(pulses.survey).empty());
    const auto kept = [](double ratio, double power, double rate_hz = 25) {
        Run run(1500, {{1.0, 0.1}, {ratio, power}});
        run.click(rate_hz);
        CHECK(is_comb_of_clicks(run.survey, run.survey.families[0]) != candidate_at(run, 1.0).has_value());
        return candidate_at(run, 1.0).has_value();
    };
    const double spacing = 25.0 / 1500;
    for (const double side : {-1.0, 1.0}) {
        CHECK_FALSE(kept(1 + side * spacing, 0.0121));   // a neighbour at a click's rate, of 0.12 times the power and more
        CHECK(kept(1 + side * spacing, 0.0119));
        CHECK_FALSE(kept(1 + 1.05 * side * spacing, 0.05));   // within 6 % of the rate
        CHECK(kept(1 + 1.07 * side * spacing, 0.05));
        CHECK_FALSE(kept(1 + 0.95 * side * spacing, 0.05));
        CHECK(kept(1 + 0.93 * side * spacing, 0.05));
        CHECK(kept(1 + side * spacing, 0.05, 50));
    }
    // a tooth of the comb leads nothing either: there it is some other line that counts
    Run teeth(1500, {{1.0, 0.01}, {1.3, 0.1}, {1.3 + spacing, 0.1}});
    CHECK_FALSE(candidate_at(teeth, 1.0));
    teeth.click(25);
    CHECK(candidate_at(teeth, 1.0));
    CHECK_FALSE(candidate_at(teeth, 1.3));
    CHECK_FALSE(is_comb_of_clicks(Run(1500, {{1.0, 0.1}, {1 + spacing, 0.1}}).survey, teeth.survey.families[0]));   // no clicks
    // the strongest train of any channel counts
    Run two(1500, {{1.0, 0.1}});
    CHECK_FALSE(click_rate_of(two.survey));
    two.click(25, 10, 1);
    CHECK(click_rate_of(two.survey) == Approx(25));
    two.click(33, 12, 0);
    CHECK(click_rate_of(two.survey) == Approx(33));
    two.click(40, 11, 1);
    CHECK(click_rate_of(two.survey) == Approx(33));
}

TEST_CASE("the lines beside one whose phase swings are its own", "[whine]") {
    // Carson 1922: the powers of carrier and side lines are the squared Bessel functions of the swing
    const auto whole = [](const Swing& swing, bool with_second = true) {
        const double first = swing.carrier + swing.below + swing.above;
        return first + (with_second ? swing.second_below + swing.second_above : 0.0);
    };
    Swing swing;
    CHECK(power_of_whine(swing.lines()) == Approx(whole(swing)));
    Run run(1500, swing.lines());
    run.click(25);
    CHECK(candidate_at(run, 1.0));   // though a neighbour stands a click's rate away
    // up to the fourth side line, 6 % of the rate off at most
    Lines far = swing.lines();
    far.insert(far.end(), {{1 + 3.05 * swing.rate, 4e-4}, {1 - 4 * swing.rate, 1e-4}, {1 + 3.1 * swing.rate, 2e-4}, {1 + 5 * swing.rate, 1e-5}});
    CHECK(power_of_whine(far) == Approx(whole(swing) + 5e-4));
    // what swings faster than 250 times a second is no firing's
    swing.rate = 245.0 / 1500;
    CHECK(power_of_whine(swing.lines()) == Approx(whole(swing)));
    swing.rate = 255.0 / 1500;
    CHECK(power_of_whine(swing.lines()) == Approx(swing.carrier));
    // the sides are alike to 2.5 times
    swing = {};
    swing.second_below = swing.second_above *= 2.0;
    swing.below = 2.4 * swing.above;
    CHECK(power_of_whine(swing.lines()) == Approx(whole(swing)));
    std::swap(swing.below, swing.above);
    CHECK(power_of_whine(swing.lines()) == Approx(whole(swing)));
    swing = {};
    swing.second_below = swing.second_above *= 2.0;
    swing.below = 2.6 * swing.above;
    CHECK(power_of_whine(swing.lines()) == Approx(swing.carrier));
    std::swap(swing.below, swing.above);
    CHECK(power_of_whine(swing.lines()) == Approx(swing.carrier));
    // J2 J0 / J1^2 is 0.454 here, its square 0.206: told between 0.08 and 0.42
    for (const auto& [times, told] : {std::pair{2.0, true}, {2.1, false}, {0.4, true}, {0.38, false}}) {
        swing = {};
        swing.second_below *= times;
        swing.second_above *= times;
        CHECK(power_of_whine(swing.lines()) == Approx(told ? whole(swing) : swing.carrier));
    }
    // of the second side lines one will do, of the first none may lack
    swing = {};
    swing.second_below = 0;
    CHECK(power_of_whine(swing.lines()) == Approx(whole(swing)));
    std::swap(swing.second_below, swing.second_above);
    CHECK(power_of_whine(swing.lines()) == Approx(whole(swing)));
    swing.second_below = 0;
    CHECK(power_of_whine(swing.lines()) == Approx(swing.carrier));
    CHECK(power_of_whine({{1.0, swing.carrier}, {1 + swing.rate, swing.above}, {1 + 2 * swing.rate, 0.0132}}) == Approx(swing.carrier));
    // 6 % of the rate is how far a second one may lie off
    for (const auto& [at, told] : {std::pair{2.05, true}, {2.07, false}, {1.95, true}, {1.93, false}}) {
        swing = {};
        swing.second_at = at;
        CHECK(power_of_whine(swing.lines()) == Approx(told ? whole(swing) : swing.carrier));
    }
    // side lines over the carrier: a swing of more than 1.4 radians, which firings don't reach
    swing = {};
    swing.carrier = 0.1;
    swing.below = swing.above = 0.11;
    swing.second_below = swing.second_above = 0.025;   // 0.2 times what the first two and the carrier ask
    CHECK(power_of_whine(swing.lines()) == Approx(swing.carrier));
}

TEST_CASE("a whine holds its lines' power, channel by channel, and their levels against it", "[whine]") {
    Run run(1600, {{1.0 / 12, 0.2}, {1.0 / 6, 0.04}, {1.0 / 3, 0.02}, {0.5, 0.01}, {2.0 / 3, 0.4}, {5.0 / 6, 0.003}, {1.0, 0.1}, {2.0, 0.05},
                   {3.0, 0.006}, {4.0, 0.005}, {5.0, 0.004}, {6.0, 0.002}, {7.0, 0.1}}, 750.0);
    run.survey.families[0].lines[6].prominence_db = 33;
    WhineCandidate candidate;
    candidate.frequency_hz = 1501;
    candidate.frequency_sd_hz = 0.7;
    candidate.usual_constant = true;
    const auto whine = whine_at(run.survey, candidate);
    REQUIRE(whine);
    CHECK(whine->survey == &run.survey);
    CHECK(whine->family == 0);
    CHECK(whine->frequency_hz == 1501);
    CHECK(whine->frequency_sd_hz == 0.7);
    CHECK(whine->wander == 0.004);
    CHECK(whine->significance == 12);
    CHECK(whine->usual_constant);
    CHECK(*whine->hz_per_rpm == Approx(1501.0 / 750));
    CHECK(whine->multiples == 5);
    const double all = 0.04 + 0.02 + 0.01 + 0.4 + 0.003 + 0.1 + 0.05 + 0.006 + 0.005 + 0.004 + 0.002;
    REQUIRE(whine->mean_square.size() == 2);
    CHECK(whine->mean_square[0] == Approx(0.25 * all));
    CHECK(whine->mean_square[1] == Approx(0.75 * all));
    // five parts of it and six multiples, in the louder channel; a full-scale sine has a mean square of a half
    REQUIRE(whine->harmonics.size() == 11);
    CHECK(whine->harmonics[0].number == Approx(1.0 / 6));
    CHECK(whine->harmonics[0].frequency_hz == Approx(1600.0 / 6));
    CHECK(whine->harmonics[5].number == 1.0);
    CHECK(whine->harmonics[5].level_dbfs == Approx(10 * std::log10(2 * 0.75 * 0.1)));
    CHECK(whine->harmonics[10].number == 6.0);
    CHECK(whine->harmonics[10].frequency_hz == Approx(9600));
    CHECK(*whine->orders.twelfth == Approx(3.0103).margin(1e-3));
    CHECK(*whine->orders.sixth == Approx(-3.9794).margin(1e-3));
    CHECK(*whine->orders.third == Approx(-6.9897).margin(1e-3));
    CHECK(*whine->orders.half == Approx(-10).margin(1e-3));
    CHECK(*whine->orders.two_thirds == Approx(6.0206).margin(1e-3));
    CHECK(*whine->orders.twice == Approx(-3.0103).margin(1e-3));
    CHECK(whine->orders.lead_prominence_db == 33);
    // led by another line: all stands against that
    candidate.ratio = 2.0;
    const auto twice = whine_at(run.survey, candidate);
    REQUIRE(twice);
    CHECK(*twice->orders.half == Approx(3.0103).margin(1e-3));
    CHECK_FALSE(twice->orders.two_thirds);
    CHECK(*twice->orders.twelfth == Approx(-0.9691).margin(1e-3));
    CHECK(*twice->orders.third == Approx(9.0309).margin(1e-3));
    CHECK(twice->multiples == 2);   // at 4 and 6; its parts at a third, two thirds and 1
    CHECK(twice->mean_square[0] == Approx(0.25 * (0.02 + 0.4 + 0.1 + 0.05 + 0.005 + 0.002)));
    REQUIRE(twice->harmonics.size() == 6);
    CHECK(twice->harmonics[0].frequency_hz == Approx(1600.0 / 3));
    CHECK(twice->harmonics[0].number == Approx(1.0 / 6));
    candidate.ratio = 1.3;
    CHECK_FALSE(whine_at(run.survey, candidate));
}

TEST_CASE("a multiple of the whine that stands in the clicks' comb is theirs", "[whine]") {
    const double spacing = 25.0 / 1500;
    Run run(1500, {{1.0, 0.1}, {2.0, 0.05}, {2.0 + spacing, 0.05}, {3.0, 0.02}}, std::nullopt);
    WhineCandidate candidate;
    const auto before = whine_at(run.survey, candidate);
    CHECK(before->multiples == 2);
    CHECK(before->mean_square[1] == Approx(0.75 * 0.17));
    CHECK_FALSE(before->hz_per_rpm);
    run.click(25);
    const auto after = whine_at(run.survey, candidate);
    CHECK(after->multiples == 1);
    CHECK(after->mean_square[1] == Approx(0.75 * 0.12));
}
