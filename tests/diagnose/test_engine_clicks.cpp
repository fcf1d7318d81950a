#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../src/diagnose/engine_speed.hpp"

using namespace hushtrace;

namespace {

/// A take in which clicks come at a rate, wandering by a share of it.
struct Clicking {
    Take take;
    TakeSurvey survey;
    Clicking(double rate_hz, Engine engine, std::optional<double> rpm, double wander = 0.01) {
        take.file = "takes/run.wav";
        take.conditions.engine = engine;
        take.conditions.rpm = rpm;
        survey.take = &take;
        survey.duration_s = 10;
        ImpulseTrain train;
        for (double t = 0; t < 10; t += 0.05) {
            train.rate.time_s.push_back(t);
            train.rate.frequency_hz.push_back(rate_hz * (1.0 + 1.4 * wander * std::sin(0.6 * std::numbers::pi * t)));
        }
        train.significance = 30;
        train.contrast_db = 8;
        survey.channels.resize(1);
        survey.channels[0].clicks = train;
    }
};
VehicleData vehicle_with(std::optional<int> cylinders, std::optional<int> strokes = std::nullopt) {
    VehicleData vehicle;
    vehicle.cylinders = cylinders;
    vehicle.strokes = strokes;
    return vehicle;
}

}  // namespace

TEST_CASE("clicks at a rate that the engine gives are its ignition, with the speed that follows", "[clicks]") {
    // Common practice, no source: four strokes fire each cylinder once in two turns, two strokes once a turn; wasted
    // spark does not double that; one coil that differs shows once in two turns.
    struct Case {
        const char* what;
        std::optional<int> cylinders, strokes;
        std::optional<double> typed;
        double rate_hz, rpm;
    };
    const Case cases[] = {
        {"3 cylinders", 3, {}, 750, 18.75, 750},
        {"4, wasted spark or not", 4, {}, 750, 25, 750},
        {"5", 5, {}, 750, 31.25, 750},
        {"6", 6, {}, 750, 37.5, 750},
        {"8", 8, {}, 750, 50, 750},
        {"10", 10, {}, 750, 62.5, 750},
        {"12", 12, {}, 750, 75, 750},
        {"two strokes", 3, 2, 1200, 60, 1200},
        {"typed 5 % low", 4, {}, 712, 25, 750},
        {"typed 5 % high", 4, {}, 788, 25, 750},
        {"nothing typed", 4, {}, {}, 25, 750},
        {"one coil differs", 4, {}, 750, 6.25, 750},
        {"six that fire unevenly", 6, {}, 750, 18.75, 750},
        {"cylinders not told", {}, {}, 760, 25, 750},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        const Clicking run(one.rate_hz, Engine::idle, one.typed);
        const auto clicks =
            clicks_in(run.survey, nullptr, nullptr, vehicle_with(one.cylinders, one.strokes), nullptr);
        REQUIRE(clicks);
        CHECK(clicks->ignition);
        CHECK(clicks->probability > 0.6);
        REQUIRE(clicks->rpm);
        CHECK(*clicks->rpm == Approx(one.rpm).epsilon(0.002));
    }
}

TEST_CASE("clicks that no engine at this speed gives are clicks of their own", "[clicks]") {
    for (const double rate_hz : {8.3, 9.7, 17.2, 20.5, 31.0, 41.0}) {
        INFO(rate_hz);
        const Clicking run(rate_hz, Engine::idle, 760, 0.0);
        const auto clicks = clicks_in(run.survey, nullptr, nullptr, vehicle_with(4), nullptr);
        REQUIRE(clicks);
        CHECK_FALSE(clicks->ignition);
    }
    const Clicking rest(25, Engine::off, std::nullopt), run(25, Engine::idle, 750);
    CHECK_FALSE(clicks_in(rest.survey, nullptr, nullptr, vehicle_with(4), nullptr)->ignition);
    CHECK_FALSE(
        clicks_in(run.survey, &rest.survey, nullptr, vehicle_with(4), nullptr)->ignition);  // there at rest as well
    TakeSurvey silent;
    CHECK_FALSE(clicks_in(silent, nullptr, nullptr, vehicle_with(4), nullptr));
}

TEST_CASE("a log settles what typed figures leave open", "[clicks]") {
    EngineInTake logged;
    logged.rpm = 750;
    logged.rpm_sd = 2;
    logged.rpm_from = "log";
    const Clicking near_miss(26.2, Engine::idle, std::nullopt), right(25.02, Engine::idle, std::nullopt);
    CHECK_FALSE(clicks_in(near_miss.survey, nullptr, nullptr, vehicle_with(4), &logged)->ignition);
    CHECK(clicks_in(right.survey, nullptr, nullptr, vehicle_with(4), &logged)->ignition);
}

TEST_CASE("the speed of a take comes from the log, else from ignition, else from what was typed", "[engine]") {
    std::vector<Warning> warnings;
    Clicking run(25.1, Engine::idle, 715);
    const TakeSpeed fired = speed_of(run.survey, vehicle_with(4), warnings);
    CHECK(fired.from == "firing");
    CHECK(fired.guesses.front().rpm == Approx(753).epsilon(0.001));
    CHECK(fired.firing_order == 2.0);
    run.survey.channels[0].clicks.reset();
    const TakeSpeed typed = speed_of(run.survey, vehicle_with(4), warnings);
    CHECK(typed.from == "typed");
    CHECK(warnings.empty());
    RpmLog log;
    for (double t = 0; t <= 10; t += 0.5) {
        log.time_s.push_back(t);
        log.rpm.push_back(900);
    }
    log.known = {{0, 10}};
    run.survey.rpm_log = log;
    const TakeSpeed logged = speed_of(run.survey, vehicle_with(4), warnings);
    CHECK(logged.from == "log");
    CHECK(logged.guesses.front().rpm == Approx(900));
    REQUIRE(warnings.size() == 1);  // 715 were typed
    CHECK(warnings.front().code == "rpm_log_contrary");
    run.take.conditions.engine = Engine::off;
    CHECK(speed_of(run.survey, vehicle_with(4), warnings).guesses.empty());
}
