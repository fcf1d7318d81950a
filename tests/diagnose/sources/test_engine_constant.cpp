#include <catch2/catch.hpp>
#include <cmath>
#include <tuple>

#include "diagnose/garage.hpp"

using namespace hushtrace;
using namespace hushtrace::garage;

TEST_CASE("a whine over a typed speed gives the constant, and the constant the speed", "[engine]") {
    Garage one;
    one.add("idle", 750).families = {family_of(1215, {{1.0, 0.1}})};
    const EngineView view = one.view();
    const EngineFindings& findings = view.findings;
    CHECK(findings.from == "typed");
    CHECK(*findings.hz_per_rpm == Approx(1.62).epsilon(0.003));
    check_constant(findings, {followed_lines(one.surveys.front(), kFollowedSd, {0})});   // all typed speeds come off one dial: 2.5 %
    CHECK(findings.sets == 1);
    CHECK_FALSE(findings.fits.empty());
    REQUIRE(findings.takes.size() == 1);
    const EngineInTake& take = findings.takes[0];
    CHECK(take.take == "idle");
    CHECK(take.typed_rpm == 750);
    CHECK(take.rpm_from == "typed");
    CHECK(*take.rpm == Approx(1215 / *findings.hz_per_rpm));
    CHECK(*take.rpm_sd == Approx(*take.rpm * std::hypot(*findings.hz_per_rpm_sd / *findings.hz_per_rpm, 0.007)));   // a belt slips by 0.7 %
    CHECK(take.whine_hz == 1215);
    CHECK_FALSE(take.firing_hz);
    CHECK_FALSE(take.log_lag_s);
    REQUIRE(view.whines.size() == 1);
    CHECK(view.whines.front().survey == &one.surveys.front());
    CHECK(*view.whines.front().hz_per_rpm == Approx(*findings.hz_per_rpm));
    CHECK(view.whines.front().usual_constant);
    // no line, no constant: what was typed stands, to 5 %
    one.surveys.front().families.clear();
    const EngineFindings none = one.findings();
    CHECK_FALSE(none.hz_per_rpm);
    CHECK(none.from.empty());
    CHECK_FALSE(none.sets);
    CHECK(none.takes[0].rpm == 750);
    CHECK(*none.takes[0].rpm_sd == Approx(37.5));
    CHECK(none.takes[0].rpm_from == "typed");
    CHECK_FALSE(none.takes[0].whine_hz);
    one.takes.front().conditions.rpm = 0;
    CHECK_FALSE(one.findings().takes[0].rpm);
    CHECK_FALSE(one.findings().takes[0].typed_rpm);
}

TEST_CASE("takes at rest, with the inputs shorted and of electric drives have no whine", "[engine]") {
    Garage one;
    one.add("idle", 750).families = {family_of(1215, {{1.0, 0.1}})};
    one.vehicle.drive = Drive::electric;
    CHECK(one.view().whines.empty());
    CHECK(one.findings().takes.size() == 1);
    one.vehicle.drive = Drive::hybrid;
    CHECK(one.view().whines.size() == 1);
    one.takes.front().conditions.engine = Engine::ready;   // a hybrid that is awake charges by a converter
    CHECK(one.view().whines.empty());
    CHECK(one.findings().takes.size() == 1);
    one.takes.front().conditions.engine = Engine::off;
    CHECK(one.findings().takes.empty());
    one.takes.front().conditions.engine = Engine::idle;
    one.takes.front().conditions.hookup = {Hookup::inputs_shorted};
    CHECK(one.findings().takes.empty());
}

TEST_CASE("of several lines each weighs by its merit, and by what speaks against it", "[engine]") {
    // lines a few per cent apart, so that the constant lies between them by their weights
    Garage one;
    TakeSurvey& idle = one.add("idle", 750);
    idle.families = {family_of(1215, {{1.0, 0.1}}), family_of(1239, {{1.0, 0.05}})};
    check_constant(one.findings(), {followed_lines(idle, kFollowedSd, {0, 0})});
    idle.families[1].lines[0] = line_of(1.0, 1e-7);   // 60 dB below, which counts as 40
    check_constant(one.findings(), {followed_lines(idle, kFollowedSd, {0, 0})});
    // half the straying over a take is how far its mean may lie from the moment at which a speed was read; 5 % at most
    for (MovingFamily& family : idle.families) family.wander = 0.3;
    check_constant(one.findings(), {followed_lines(idle, std::hypot(0.001, 0.05), {0, 0})});
    // but the first multiple of a stronger line: exp(-3) of the chance; unless a sixth or a third of it tells of a faulty stator
    const auto doubled = [&](Lines more, double half, double weight) {
        Lines lines = {{0.5, half}, {1.0, 0.1}};
        lines.insert(lines.end(), more.begin(), more.end());
        idle.families = {family_of(1239, {{1.0, 0.05}}), family_of(1215, lines)};
        std::vector<double> besides;
        for (const WhineCandidate& candidate : whine_candidates(idle)) besides.push_back(candidate.frequency_hz == Approx(1215) ? weight : 0.0);
        check_constant(one.findings(), {followed_lines(idle, kFollowedSd, besides)});
    };
    doubled({}, 0.11, -3);
    doubled({}, 0.09, 0);
    doubled({{1.0 / 3, 1e-3}}, 0.11, 0);
    doubled({{1.0 / 6, 1e-3}}, 0.11, 0);
    doubled({{1.0 / 5, 1e-3}}, 0.11, -3);
    // half of it within 2 Hz, of lines above 3.3 kHz within 0.06 %
    Garage high;
    TakeSurvey& raised = high.add("raised", 2500, Engine::raised);
    raised.families = {family_of(4000, {{0.5008, 0.11}, {1.0, 0.1}}), family_of(4080, {{1.0, 0.05}})};
    check_constant(high.findings(), {followed_lines(raised, kFollowedSd, std::vector<double>(whine_candidates(raised).size(), 0.0))});
    // so vague that it is none: 8 % and more
    idle.families = {family_of(1130, {{1.0, 0.1}}, 0.3), family_of(1310, {{1.0, 0.1}}, 0.3)};
    const auto vague = joint_whine_constant(std::vector{followed_lines(idle, std::hypot(0.001, 0.05), {0, 0})}, {}, 0.0);
    REQUIRE(std::hypot(vague->sd, 0.025 * vague->hz_per_rpm) > 0.08 * vague->hz_per_rpm);
    CHECK_FALSE(one.findings().hz_per_rpm);
    CHECK(one.findings().from.empty());
    // a swept speed moves its lines by 3 % and more
    idle.families = {family_of(1215, {{1.0, 0.1}}, 0.029)};
    one.takes.front().conditions.engine = Engine::sweep;
    CHECK(one.view().whines.empty());
    idle.families[0].wander = 0.031;
    CHECK(one.view().whines.size() == 1);
}

TEST_CASE("a line at the same frequency in a take at another speed follows no engine", "[engine]") {
    const auto against = [](std::optional<double> other_rpm, Engine other, double other_hz, bool first = false) {
        Garage one;
        TakeSurvey& idle = one.add("idle", 750);
        idle.families = {family_of(1215, {{1.0, 0.1}}), family_of(1239, {{1.0, 0.1}})};
        TakeSurvey& raised = one.add("other", other_rpm, other);
        raised.families = {family_of(other_hz, {{1.0, 1e-9}})};
        raised.families[0].lines.clear();   // followed, but no line of it may be the whine
        const double plain = joint_whine_constant(std::vector{followed_lines(idle, kFollowedSd, {0, 0})}, {}, 0.0)->hz_per_rpm;
        const std::vector<double> weights = first ? std::vector<double>{-3, 0} : std::vector<double>{0, -3};
        const double without = joint_whine_constant(std::vector{followed_lines(idle, kFollowedSd, weights)}, {}, 0.0)->hz_per_rpm;
        REQUIRE(std::abs(plain / without - 1) > 0.003);
        const double found = one.findings().hz_per_rpm.value_or(0);
        CHECK((found == Approx(plain).epsilon(1e-9) || found == Approx(without).epsilon(1e-9)));
        return found == Approx(without).epsilon(1e-9);
    };
    CHECK(against(1500, Engine::idle, 1239));
    CHECK(against(1500, Engine::idle, 1215, true));
    CHECK(against(1500, Engine::idle, 1239 * 1.0099));
    CHECK_FALSE(against(1500, Engine::idle, 1239 * 1.0101));
    CHECK(against(1500, Engine::raised, 1239));
    // speeds surely differ by 2 % and 2.5 times how well both are known: 1.5 % each, 7.3 % in all
    CHECK(against(750 * std::exp(0.074), Engine::idle, 1239));
    CHECK_FALSE(against(750 * std::exp(0.072), Engine::idle, 1239));
    CHECK(against(750 * std::exp(-0.074), Engine::idle, 1239));
    // where none is stated, an idle against what is no idle
    CHECK_FALSE(against({}, Engine::idle, 1239));
    CHECK(against({}, Engine::raised, 1239));
}

TEST_CASE("what stands there with the engine off is no whine", "[engine]") {
    Garage one;
    TakeSurvey& idle = one.add("idle", 750);
    idle.families = {family_of(1215, {{1.0, 0.1}})};
    one.has_rest = true;
    CHECK(one.view().whines.size() == 1);
    const auto told = [&one] {
        const bool any = !one.view().whines.empty();
        one.rest.families.clear();
        for (ChannelSurvey& channel : one.rest.channels) {
            channel.lines.clear();
            channel.brief.lines.clear();
            channel.humps.clear();
        }
        return any;
    };
    // followed: within 0.4 % and 1.5 times what both wander, 1 % here
    for (const auto& [times, whine] : {std::pair{1.0099, false}, {1.0101, true}, {0.9901, false}, {0.9899, true}}) {
        one.rest.families = {family_of(1215 * times, {}, 0.0)};
        CHECK(told() == whine);
    }
    one.rest.families = {family_of(1215 * 1.0114, {}, 0.003)};   // 0.4 % and 0.75 %
    CHECK_FALSE(told());
    one.rest.families = {family_of(1215 * 1.0116, {}, 0.003)};
    CHECK(told());
    // still, a tenth as strong as in the stronger channel: 0.075 of full scale squared
    for (const auto& [times, power, whine] : {std::tuple{1.0099, 7.6e-3, false}, {1.0101, 7.6e-3, true}, {1.0, 7.4e-3, true}}) {
        hold(one.rest.channels[1], 1215 * times, power);
        CHECK(told() == whine);
        StillLine brief;
        brief.frequency_hz = 1215 * times;
        brief.mean_square = power;
        one.rest.channels[0].brief.lines = {brief};
        CHECK(told() == whine);
    }
    Hump hump;
    for (const auto& [low_hz, high_hz, whine] : {std::tuple{1200, 1230, false}, {1216, 1230, true}, {1200, 1214, true}}) {
        hump.low_hz = low_hz;
        hump.high_hz = high_hz;
        one.rest.channels[1].humps = {hump};
        CHECK(told() == whine);
    }
    // or the noise bulges there at rest, where it doesn't while the engine runs
    for (TakeSurvey* survey : {&idle, &one.rest})
        for (ChannelSurvey& channel : survey->channels) {
            channel.spectrum.effective_averages = 10;
            channel.spectrum.density.assign(24001, 1e-12);
            channel.floor_density = channel.spectrum.density;
        }
    CHECK(told());
    one.rest.channels[1].spectrum.density[1216] = 1e-9;
    CHECK_FALSE(told());
    one.rest.channels[1].spectrum.density[1216] = 1e-12;
    // of the family, the line that was followed counts; and the place of either
    idle.families = {family_of(1800, {{1.0, 0.01}, {1215.0 / 1800, 0.1}})};
    hold(one.rest.channels[0], 1215, 1e-3);
    CHECK_FALSE(told());
    hold(one.rest.channels[0], 1215, 5e-4);
    CHECK(told());
    hold(one.rest.channels[0], 1800, 1e-3);
    CHECK_FALSE(told());
    // then the next that is there goes for the whine, the best of a usual constant
    idle.families = {family_of(1215, {{1.0, 0.1}}), family_of(1500, {{1.0, 1e-3}}), family_of(1700, {{1.0, 2e-3}}), family_of(700, {{1.0, 5e-3}})};
    one.takes.front().conditions.rpm.reset();
    one.rest.families = {family_of(1215, {}, 0.0), family_of(1700, {}, 0.0)};
    const EngineView view = one.view();
    REQUIRE(view.whines.size() == 1);
    CHECK(view.whines.front().frequency_hz == 1500);
}

TEST_CASE("a log that the line follows gives speed and constant to a part in a thousand", "[engine]") {
    Garage one;
    TakeSurvey& idle = one.add("idle", std::nullopt);
    idle.families = {family_of(1215, {{1.0, 0.1}})};
    follow(idle.families[0], 1.5);
    RpmLog log;
    for (int i = 0; i <= 120; ++i) {
        log.time_s.push_back(0.2 * i);
        log.rpm.push_back(750 * wandering(0.2 * i - 3.5));   // the log's clock is two seconds late
    }
    log.known = {{0, 24}};
    log.step_rpm = 1;
    idle.rpm_log = log;
    const EngineFindings findings = one.findings();
    CHECK(findings.from == "log");
    REQUIRE(findings.hz_per_rpm);
    CHECK(*findings.hz_per_rpm == Approx(1.62).epsilon(5e-4));
    CHECK(*findings.hz_per_rpm_sd > 0.001 * 1.62);
    CHECK(*findings.hz_per_rpm_sd < 0.01 * 1.62);
    CHECK(*findings.takes[0].log_lag_s == Approx(2).margin(0.03));
    CHECK(findings.takes[0].rpm_from == "log");
    CHECK(*findings.takes[0].rpm == Approx(idle.families[0].mean_hz / 1.62).epsilon(5e-4));
    const double rpm = *findings.takes[0].rpm;
    CHECK(*findings.takes[0].rpm_sd == Approx(rpm * std::hypot(0.0005, 0.0025)).epsilon(0.02));   // a counter's quarter per cent
    // a second line beside it that keeps to no log is none of the engine's
    idle.families.push_back(family_of(1270, {{1.0, 1.0}}));
    follow(idle.families[1], 0, 0);
    const EngineFindings both = one.findings();
    CHECK(*both.hz_per_rpm == Approx(*findings.hz_per_rpm).epsilon(1e-9));
    CHECK(both.takes[0].whine_hz == findings.takes[0].whine_hz);
    // where nothing follows it, nothing is the whine: the log's speed stands
    idle.families.erase(idle.families.begin());
    CHECK(one.view().whines.empty());
    CHECK(one.findings().takes[0].rpm_from == "log");
    CHECK_FALSE(one.findings().hz_per_rpm);
}

TEST_CASE("clicks that the whine keeps to give its speed as well", "[engine]") {
    const auto clicking = [](Garage& one, double late_s) -> TakeSurvey& {
        TakeSurvey& idle = one.add("idle", 750);
        one.vehicle.cylinders = 4;
        ImpulseTrain train;
        train.significance = 30;
        train.contrast_db = 8;
        for (int i = 0; i <= 400; ++i) {
            train.rate.time_s.push_back(0.05 * i);
            train.rate.frequency_hz.push_back(25 * wandering(0.05 * i));
        }
        idle.channels[0].clicks = train;
        idle.families = {family_of(1215, {{1.0, 0.1}}), family_of(1222, {{1.0, 0.1}})};
        for (MovingFamily& family : idle.families) follow(family, late_s);
        return idle;
    };
    Garage one;
    TakeSurvey& idle = clicking(one, 0);
    const EngineFindings findings = one.findings();
    CHECK(findings.from == "firing");
    CHECK(*findings.takes[0].firing_hz == Approx(idle.channels[0].clicks->rate.mean_hz()));
    CHECK(findings.takes[0].rpm_from == "firing");
    CHECK(*findings.takes[0].rpm == Approx(750 * idle.channels[0].clicks->rate.mean_hz() / 25).epsilon(3e-3));
    WhineTake take = followed_lines(idle, 0.001, {3, 3});
    for (std::size_t i = 0; i < 2; ++i) {
        const double k = i == 0 ? 1215.0 / 750 : 1222.0 / 750;
        take.lines[i].measured = SpeedGuess{take.lines[i].frequency_hz / k, std::hypot(0.0005, 0.0015), 0.97};
    }
    const auto wanted = joint_whine_constant(std::vector{take}, {}, 0.0);
    CHECK(*findings.hz_per_rpm == Approx(wanted->hz_per_rpm).epsilon(1e-4));
    CHECK(*findings.hz_per_rpm_sd == Approx(std::hypot(wanted->sd, 0.001 * wanted->hz_per_rpm)).epsilon(1e-2));
}

TEST_CASE("the speed is that of the stretch in which the line was followed", "[engine]") {
    Garage one;
    TakeSurvey& idle = one.add("idle", std::nullopt);
    idle.families = {family_of(1.62 * 725, {{1.0, 0.1}})};   // the first half of a take in which the speed goes from 700 to 800
    RpmLog log;
    for (int i = 0; i <= 200; ++i) {
        const double rpm = 700 + 0.5 * i;
        log.time_s.push_back(0.1 * i);
        log.rpm.push_back(rpm);
        if (i > 100) continue;
        idle.families[0].ridge.track.time_s.push_back(0.1 * i);
        idle.families[0].ridge.track.frequency_hz.push_back(1.62 * rpm);
    }
    log.known = {{0, 20}};
    idle.rpm_log = log;
    const EngineFindings findings = one.findings();
    REQUIRE(findings.hz_per_rpm);
    CHECK(*findings.hz_per_rpm == Approx(1.62).epsilon(1e-3));
    CHECK(*findings.takes[0].rpm == Approx(725).epsilon(1e-3));
}

TEST_CASE("a line that keeps to no clicks is less likely the whine, and tells nothing of the speed where it strays far", "[engine]") {
    const auto check = [](double swing) {
        Garage one;
        one.vehicle.cylinders = 4;
        TakeSurvey& idle = one.add("idle", 750);
        ImpulseTrain train;
        train.significance = 30;
        train.contrast_db = 8;
        for (int i = 0; i <= 400; ++i) {
            train.rate.time_s.push_back(0.05 * i);
            train.rate.frequency_hz.push_back(25 * (1 + swing * (wandering(0.05 * i) - 1)));
        }
        idle.channels[0].clicks = train;
        idle.families = {family_of(1215, {{1.0, 0.1}}), family_of(1222, {{1.0, 0.1}})};
        follow(idle.families[0], 0, swing);
        follow(idle.families[1], 0, 0);   // holds still while the engine wanders
        std::vector<Warning> warnings;
        const TakeSpeed speed = speed_of(idle, one.vehicle, warnings);
        REQUIRE(speed.from == "firing");
        WhineTake take = followed_lines(idle, 0.001, {3, -1.5});
        take.speeds = speed.guesses;
        for (std::size_t i = 0; i < 2; ++i) {
            RpmLog log;
            log.time_s = train.rate.time_s;
            for (const double hz : train.rate.frequency_hz) log.rpm.push_back(60 * hz / 2);
            const auto held = hold_against(idle.families[i].ridge.track, log, 0.0);
            REQUIRE(held);
            CHECK(held->follows() == (i == 0));
            CHECK(held->strays() == (i == 1));
            const bool tells = held->residual_share <= 0.03;
            CHECK(tells == (i == 0 || swing < 2));
            if (tells) take.lines[i].measured = SpeedGuess{idle.families[i].mean_hz / held->hz_per_rpm, std::hypot(held->sd_share, 0.0015), 0.97};
        }
        const auto wanted = joint_whine_constant(std::vector{take}, {}, 0.0);
        const EngineFindings findings = one.findings();
        REQUIRE(findings.hz_per_rpm);
        CHECK(*findings.hz_per_rpm == Approx(wanted->hz_per_rpm).epsilon(1e-9));
        CHECK(*findings.hz_per_rpm_sd == Approx(std::hypot(wanted->sd, 0.001 * wanted->hz_per_rpm)).epsilon(1e-9));
    };
    check(1);
    check(3);
}
