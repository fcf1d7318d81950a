#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/garage.hpp"

using namespace hushtrace;
using namespace hushtrace::garage;

TEST_CASE("a whine that holds still is told where an engine may hold so still", "[engine]") {
    // held at a stated speed: with the take at rest without it, or as two takes say
    Garage one;
    TakeSurvey& raised = one.add("raised", 2000, Engine::raised);
    hold(raised.channels[0], 3240, 1e-2, 20, 1.62);
    hold(raised.channels[0], 3290, 1e-2, 24, 1.62);
    hold(raised.channels[0], 3305, 1e-2, 12, 1.62);
    const auto held = [&](std::vector<double> weights) {
        WhineTake out;
        for (std::size_t i = 0; i < weights.size(); ++i) {
            const SpectralLine& line = raised.channels[0].lines[i];
            out.lines.push_back({line.frequency_hz, line.frequency_sd_hz / line.frequency_hz, weights[i], {}});
        }
        out.speeds = stated_guesses(raised.take->conditions).first;
        return out;
    };
    CHECK_FALSE(one.findings().hz_per_rpm);   // nothing to hold it against
    CHECK(one.view().whines.empty());
    one.has_rest = true;
    check_constant(one.findings(), {held({0.075 * -4, 0, 0.075 * -12})});   // half of 0.15 nats a decibel of prominence
    raised.channels[0].lines[2].prominence_db = 10;
    raised.channels[0].lines[1].prominence_db = 80;
    check_constant(one.findings(), {held({-4, 0, -4})});   // down to -4
    const EngineView view = one.view();
    REQUIRE(view.whines.size() == 1);
    CHECK_FALSE(view.whines.front().family);
    CHECK(view.findings.takes[0].rpm_from == "typed");
    hold(one.rest.channels[0], 3290, 1e-2);   // there at rest: none of the engine's
    raised.channels[0].lines.erase(raised.channels[0].lines.begin() + 1);
    check_constant(one.findings(), {held({0, 0.075 * -10})});
    // but twice a stronger one, as good as exp(-3) of the chance
    hold(raised.channels[0], 1620, 2e-2, 20, 1.62);
    check_constant(one.findings(), {held({-3, 0.075 * -10, -1})});   // 0.81 Hz per rpm is unusual: exp(-1)
    raised.channels[0].lines[2].mean_square = 0.9e-2;
    check_constant(one.findings(), {held({0, 0.075 * -10, -1})});
    raised.channels[0].lines[2].mean_square = 2e-2;
    raised.channels[0].lines[2].frequency_hz = 1621.7;   // more than 3.24 Hz off
    check_constant(one.findings(), {held({0, 0.075 * -10, -1})});
    raised.channels[0].lines[2].frequency_hz = 1621.5;
    check_constant(one.findings(), {held({-3, 0.075 * -10, -1})});
    // no engine idles so evenly, unless the alternator as told says so
    one.takes.front().conditions.engine = Engine::idle;
    CHECK(one.view().whines.empty());
    one.told(6, 2.7);
    CHECK(one.view().whines.size() == 1);
    one.has_rest = false;
    CHECK(one.view().whines.empty());
    one.takes.front().conditions.engine = Engine::sweep;   // what is swept doesn't hold still
    one.has_rest = true;
    CHECK(one.view().whines.empty());
}

TEST_CASE("beside a line that wanders one that holds still goes second; two takes that agree need none at rest", "[engine]") {
    Garage one;
    TakeSurvey& raised = one.add("raised", 2000, Engine::raised);
    raised.families = {family_of(3240, {{1.0, 0.1}})};
    hold(raised.channels[0], 3290, 1e-2, 20, 1.62);
    WhineTake both = followed_lines(raised, kFollowedSd, {0});
    both.lines.push_back({3290, 1.62 / 3290, -1.5 - 3, {}});   // nothing at rest: 1.5; something that wanders: 3
    check_constant(one.findings(), {both});
    one.has_rest = true;
    both.lines[1].log_weight = -3;
    check_constant(one.findings(), {both});
    Garage two;
    hold(two.add("one", 2000, Engine::raised).channels[0], 3240, 1e-2);
    hold(two.add("other", 3000, Engine::raised).channels[0], 4860, 1e-2);
    CHECK(two.view().whines.size() == 2);
    two.surveys.back().channels[0].lines[0].frequency_hz = 7500;
    CHECK(two.view().whines.empty());
    // a line that stands in a take at another speed as well is no whine's
    two.surveys.back().channels[0].lines[0].frequency_hz = 4860;
    hold(two.surveys.back().channels[0], 3240, 1e-2);
    CHECK(two.view().whines.empty());
    two.takes.back().conditions.rpm = 2100;   // which 2100 rpm isn't, surely
    CHECK_FALSE(two.view().whines.empty());
}

TEST_CASE("where no speed is known the alternator as told gives it", "[engine]") {
    Garage one;
    one.add("idle", std::nullopt).families = {family_of(1215, {{1.0, 0.1}})};
    CHECK_FALSE(one.findings().hz_per_rpm);
    CHECK_FALSE(one.findings().takes[0].rpm);
    one.told(6, 2.7);
    const EngineFindings findings = one.findings();
    CHECK(findings.from == "told");
    CHECK(*findings.hz_per_rpm == Approx(1.62));
    CHECK(*findings.hz_per_rpm_sd == Approx(0.015 * 1.62));   // a ratio of two figures, the belt's slip
    CHECK(findings.sets == 1);
    CHECK(findings.takes[0].rpm_from == "told");
    CHECK(*findings.takes[0].rpm == Approx(750));
    CHECK(*findings.takes[0].rpm_sd == Approx(750 * std::hypot(0.015, 0.007)));
    CHECK(findings.fits_text.find("agrees") != std::string::npos);
    // with two sets of windings twice as much
    one.surveys.front().families = {family_of(2430, {{1.0, 0.1}})};
    one.told(5, 2.2);
    const EngineFindings twice = one.findings();
    REQUIRE(twice.hz_per_rpm);
    CHECK(*twice.hz_per_rpm == Approx(2.2));   // 1105 rpm
    CHECK(twice.sets == 2);
    // an alternator that can't be that one tells nothing
    one.vehicle.alternator.pulley_ratio.reset();
    CHECK_FALSE(one.findings().hz_per_rpm);
    one.told(6, 2.7);
    one.vehicle.alternator.pole_pairs.reset();
    CHECK_FALSE(one.findings().hz_per_rpm);
}

TEST_CASE("the constant tells the sets of windings, and the speed of takes without one", "[engine]") {
    // 1.2 to 2.4 Hz per rpm usual from one set, 2.8 at most (2 % for rounding), twice that from two; beside a log it is sure to the belt's slip of
    // 0.7 % and the log's quarter per cent: 0.75 %, and 1.5 % are left open
    const auto sets = [](double hz_per_rpm, std::optional<double> told_one_set = std::nullopt) {
        Garage one;
        TakeSurvey& idle = one.add("idle", std::nullopt);
        idle.families = {family_of(750 * hz_per_rpm, {{1.0, 0.1}})};
        follow(idle.families[0], 0, 0);
        RpmLog log;
        for (int i = 0; i <= 40; ++i) {
            log.time_s.push_back(0.5 * i);
            log.rpm.push_back(750);
        }
        log.known = {{0, 20}};
        idle.rpm_log = log;
        if (told_one_set) one.told(10 * *told_one_set / 2.5, 2.5);
        const EngineFindings findings = one.findings();
        REQUIRE(findings.hz_per_rpm);
        CHECK(*findings.hz_per_rpm == Approx(hz_per_rpm).epsilon(6e-3));   // what was told draws it a little
        return findings.sets;
    };
    CHECK(sets(1.62) == 1);
    CHECK(sets(2.355) == 1);
    CHECK(sets(2.375) == std::nullopt);   // a fast pulley, or two slow sets
    CHECK(sets(2.88) == std::nullopt);
    CHECK(sets(2.92) == 2);
    // within 6 % of what was told, and what is left open
    CHECK(sets(2.6 * 1.07, 2.6) == 1);
    CHECK(sets(2.6 * 1.085, 2.6) == std::nullopt);
    CHECK(sets(2.6 * 1.07, 1.3) == 2);
    CHECK(sets(2.6 * 1.085, 1.3) == std::nullopt);
    CHECK(sets(2.6 * 0.93, 1.3) == 2);
    CHECK(sets(2.6 * 0.91, 1.3) == std::nullopt);
    Garage two;
    two.add("idle", 750).families = {family_of(1215, {{1.0, 0.1}})};
    two.add("raised", std::nullopt, Engine::raised).families = {family_of(3240, {{1.0, 0.1}})};
    const EngineFindings findings = two.findings();
    REQUIRE(findings.takes.size() == 2);
    CHECK(findings.takes[1].rpm_from == "whine");
    CHECK(*findings.takes[1].rpm == Approx(3240 / *findings.hz_per_rpm));
    CHECK_FALSE(findings.takes[1].typed_rpm);
    // of two sets usual is twice as much there
    Garage usual;
    usual.add("idle", 750).families = {family_of(2430, {{1.0, 0.1}})};
    CHECK(usual.view().whines.front().usual_constant);
    Garage unusual;
    unusual.add("idle", 750).families = {family_of(800, {{1.0, 0.1}})};   // 1.07
    CHECK_FALSE(unusual.view().whines.front().usual_constant);
}
