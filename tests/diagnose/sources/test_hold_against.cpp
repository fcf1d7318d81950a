#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "../../../src/diagnose/sources/engine_speed.hpp"

using namespace hushtrace;

namespace {

/// Speed that wanders as an idle does [1/min].
double idle_rpm(double t) {
    return 760.0 * (1.0 + 0.009 * std::sin(0.31 * t) + 0.008 * std::sin(0.83 * t + 2.0) +
                    0.007 * std::sin(1.9 * t + 1.0) + 0.005 * std::sin(4.3 * t));
}
double swept_rpm(double t) {
    return 800.0 + 700.0 * (1.0 - std::cos(0.628 * t));
}
/// Speed that moves as no sine does: each lag fits but once.
double wandering_rpm(double t) { return 800.0 * (1.0 + 0.02 * std::sin(0.9 * t + 0.15 * t * t) + 0.01 * std::sin(2.3 * t)); }
template <typename Speed>
Track track_of(double hz_per_rpm, Speed rpm, double seconds, double jitter = 0, unsigned seed = 1) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal;
    Track track;
    for (int i = 0; i <= std::lround(seconds / 0.05); ++i) {
        track.time_s.push_back(0.05 * i);
        track.frequency_hz.push_back(hz_per_rpm * rpm(0.05 * i) * (1.0 + jitter * normal(engine)));
    }
    return track;
}
template <typename Speed>
RpmLog log_of(Speed rpm, double from_s, double to_s, double every_s, double step_rpm = 1) {
    RpmLog log;
    for (int i = 0; i <= std::lround((to_s - from_s) / every_s); ++i) {
        log.time_s.push_back(from_s + every_s * i);
        log.rpm.push_back(rpm(log.time_s.back()));
    }
    log.known = {{from_s, to_s}};
    log.step_rpm = step_rpm;
    return log;
}
double ramp_rpm(double t) { return 1000.0 * std::exp(0.01 * t); }

/// A log whose clock is late by lag_s, counting in steps.
template <typename Speed>
RpmLog log_at(Speed rpm, double seconds, double every_s, double lag_s, double step) {
    RpmLog log;
    for (double t = 0; t < seconds; t += every_s) {
        log.time_s.push_back(t);
        log.rpm.push_back(step * std::round(rpm(t - lag_s) / step));
    }
    log.known = {{log.time_s.front(), log.time_s.back()}};
    log.interval_s = every_s;
    log.step_rpm = step;
    return log;
}

}  // namespace

TEST_CASE("a log's lag and the constant come out of a track beside it, however coarse the log", "[engine]") {
    for (const double lag : {-2.4, 0.0, 1.35, 4.0})
        for (const double step : {1.0, 4.0}) {
            INFO("lag " << lag << " step " << step);
            const auto idle =
                hold_against(track_of(1.62, idle_rpm, 20, 0.0015, 1), log_at(idle_rpm, 20, 0.2, lag, step), 6.0);
            REQUIRE(idle);
            REQUIRE(idle->lag_s);
            CHECK(*idle->lag_s == Approx(lag).margin(0.12));
            CHECK(idle->hz_per_rpm == Approx(1.62).epsilon(0.001));
            CHECK(idle->follows());
            const auto sweep =
                hold_against(track_of(1.62, swept_rpm, 12, 0.002, 2), log_at(swept_rpm, 12, 0.5, lag, step), 6.0);
            REQUIRE(sweep);
            REQUIRE(sweep->lag_s);
            CHECK(*sweep->lag_s == Approx(lag).margin(0.1));
            CHECK(sweep->hz_per_rpm == Approx(1.62).epsilon(0.003));
        }
}

TEST_CASE("an idle that comes and goes evenly leaves the lag open rather than wrong", "[engine]") {
    const auto even = [](double t) { return 760.0 * (1.0 + 0.012 * std::sin(1.6 * t)); };
    const auto held = hold_against(track_of(1.62, even, 20, 0.0015, 3), log_at(even, 20, 0.2, 1.0, 4), 6.0);
    REQUIRE(held);
    CHECK_FALSE(held->lag_s);
}

TEST_CASE("what does not follow the log has no lag to it, and strays", "[engine]") {
    const auto pump = [](double t) {
        return 1000.0 * (1.0 + 0.01 * std::sin(1.7 * t + 2.0) + 0.007 * std::sin(0.43 * t));
    };
    std::size_t lags = 0;
    for (unsigned seed = 0; seed < 10; ++seed) {
        const auto own_way = [&](double t) { return pump(t + 3.1 * seed); };
        const auto held =
            hold_against(track_of(1.0, own_way, 20, 0.0015, seed), log_at(swept_rpm, 20, 0.2, 0, 1), 6.0);
        REQUIRE(held);
        CHECK(held->strays());
        lags += held->lag_s.has_value();
    }
    CHECK(lags <= 1);
    CHECK_FALSE(hold_against({}, log_at(idle_rpm, 20, 0.2, 0, 1), 6.0));
    CHECK_FALSE(hold_against(track_of(1.62, idle_rpm, 20), {}, 6.0));
}

TEST_CASE("a track beside a log gives the constant, how far their ratio strays, and what the log's steps leave open", "[engine]") {
    // 1 % a second over 20 s: uniform over 0.2 of the logarithm, whose median deviation is a quarter of that, as a normal law's sd 0.3707 of it
    const auto held = hold_against(track_of(1.5, ramp_rpm, 20), log_of(ramp_rpm, 0, 20, 0.25, 4), 0.0);
    REQUIRE(held);
    CHECK(held->hz_per_rpm == Approx(1.5).epsilon(1e-5));
    CHECK(held->residual_share < 1e-6);
    CHECK(held->speed_wander == Approx(0.0741).epsilon(0.03));
    CHECK(held->step_share == Approx(4 / 1000.0 / std::sqrt(12.0)));
    CHECK(held->sd_share == Approx(0.0005));
    CHECK(held->least_straying < 1e-4);
    CHECK_FALSE(held->lag_s);
    CHECK(held->follows());
    // a line that stands still while the speed moves strays as much as that
    const auto still = hold_against(track_of(1.5, [](double) { return 1000.0; }, 20), log_of(ramp_rpm, 0, 20, 0.25, 4), 0.0);
    REQUIRE(still);
    CHECK(still->residual_share == Approx(still->speed_wander));
    CHECK(still->least_straying == Approx(1.0));
    CHECK(still->strays());
    // median of the ratio: as many rows as there are, or two a second, whichever is fewer, are independent of each other
    for (const auto& [every_s, independent] : {std::pair{0.25, 40.0}, {2.0, 11.0}}) {
        const auto coarse = hold_against(track_of(1.5, [](double) { return 1000.0; }, 20), log_of(ramp_rpm, 0, 20, every_s), 0.0);
        REQUIRE(coarse);
        CHECK(coarse->sd_share == Approx(std::hypot(1.25 * coarse->residual_share / std::sqrt(independent), 0.0005)));
    }
    // a speed that hardly moves is taken to move by 0.2 %
    const auto steady = hold_against(track_of(1.5, ramp_rpm, 20), log_of([](double) { return 1000.0; }, 0, 20, 0.25), 0.0);
    REQUIRE(steady);
    CHECK(steady->speed_wander == 0.0);
    CHECK(steady->least_straying == Approx(steady->residual_share / 0.002));
}

TEST_CASE("a track is held against five rows of a turning engine and more", "[engine]") {
    const Track track = track_of(1.5, ramp_rpm, 20);
    const auto constant = [](double rpm) { return [rpm](double) { return rpm; }; };
    CHECK(hold_against(track, log_of(ramp_rpm, 0, 4, 1), 0.0));
    CHECK_FALSE(hold_against(track, log_of(ramp_rpm, 0, 3, 1), 0.0));
    CHECK(hold_against(track, log_of(constant(101), 0, 20, 1), 0.0));
    CHECK_FALSE(hold_against(track, log_of(constant(100), 0, 20, 1), 0.0));   // an engine that stands
    CHECK(hold_against(track, log_of(ramp_rpm, 0, 0.2, 0.05), 0.0));
    CHECK_FALSE(hold_against(track, log_of(ramp_rpm, 0, 0.19, 0.01), 0.0));   // twenty rows a second count, no more
    CHECK(hold_against(track, log_of(ramp_rpm, 16, 30, 1), 0.0));
    CHECK_FALSE(hold_against(track, log_of(ramp_rpm, 17, 30, 1), 0.0));   // four of them lie beside the track
    CHECK(hold_against(track, log_of(ramp_rpm, -10, 4, 1), 0.0));
    CHECK_FALSE(hold_against(track, log_of(ramp_rpm, -10, 3, 1), 0.0));
    Track short_one;
    short_one.time_s = {0, 20};
    short_one.frequency_hz = {1500, 1800};
    CHECK_FALSE(hold_against(short_one, log_of(ramp_rpm, 0, 20, 1), 0.0));
}

TEST_CASE("a log's lag is found up to what is asked for and what the track's length allows", "[engine]") {
    const auto lag = [](double late_s, double most_s, double seconds = 20) {
        const auto late = [late_s](double t) { return wandering_rpm(t - late_s); };
        return hold_against(track_of(1.5, wandering_rpm, seconds), log_of(late, -5, 25, 0.2), most_s)->lag_s;
    };
    for (const double late_s : {-3.0, -0.52, 0.0, 0.52, 3.0}) {
        REQUIRE(lag(late_s, 6));
        CHECK(*lag(late_s, 6) == Approx(late_s).margin(0.008));   // tried every 0.05 s, and between those
    }
    CHECK(lag(0.1, 0.3));
    CHECK_FALSE(lag(3.0, 0));
    CHECK_FALSE(lag(3.0, 2.9));
    CHECK(lag(3.0, 3.2));
    CHECK(lag(3.0, 6, 8));
    CHECK_FALSE(lag(3.0, 6, 6.4));   // 0.45 of its length
    // held at that lag, the constant is as good as without one
    const auto held = hold_against(track_of(1.5, wandering_rpm, 20), log_of([](double t) { return wandering_rpm(t - 2); }, 0, 20, 0.2), 6);
    CHECK(held->hz_per_rpm == Approx(1.5).epsilon(1e-4));
    CHECK(held->residual_share < 0.1 * held->speed_wander);
    CHECK(held->least_straying < 0.1);
}

TEST_CASE("a family that follows a late log gives its lag, and the take's mean speed by it", "[engine]") {
    Take take;
    take.conditions.engine = Engine::idle;
    TakeSurvey survey;
    survey.take = &take;
    survey.duration_s = 20;
    const auto late = [](double t) { return wandering_rpm(t - 2) * (t > 20 ? 1.1 : 1.0); };
    survey.rpm_log = log_of(late, 0, 24, 0.2);
    survey.families.resize(2);
    survey.families[0].ridge.track = track_of(1.0, [](double) { return 1000.0; }, 20);
    survey.families[1].ridge.track = track_of(1.5, wandering_rpm, 20);
    std::vector<Warning> warnings;
    const TakeSpeed speed = speed_of(survey, {}, warnings);
    REQUIRE(speed.lag_s);
    CHECK(*speed.lag_s == Approx(2).margin(0.03));
    CHECK(speed.guesses[0].rpm == Approx(*survey.rpm_log->mean_rpm(2, 22)).epsilon(3e-4));
    survey.families.pop_back();
    CHECK_FALSE(speed_of(survey, {}, warnings).lag_s);
    CHECK(speed_of(survey, {}, warnings).guesses[0].rpm == Approx(*survey.rpm_log->mean_rpm(0, 20)).epsilon(1e-6));
}

TEST_CASE("of two families the one that keeps closer to the log gives its lag, whichever comes first", "[engine]") {
    Take take;
    take.conditions.engine = Engine::idle;
    TakeSurvey survey;
    survey.take = &take;
    survey.duration_s = 20;
    survey.rpm_log = log_of([](double t) { return wandering_rpm(t - 2); }, 0, 24, 0.2);
    survey.families.resize(2);
    survey.families[0].ridge.track = track_of(1.5, wandering_rpm, 20);
    survey.families[1].ridge.track = track_of(1.5, [](double t) { return wandering_rpm(t + 1); }, 20, 0.006);
    std::vector<Warning> warnings;
    CHECK(*speed_of(survey, {}, warnings).lag_s == Approx(2).margin(0.03));
    std::swap(survey.families[0], survey.families[1]);
    CHECK(*speed_of(survey, {}, warnings).lag_s == Approx(2).margin(0.03));
    survey.families.pop_back();
    CHECK(*speed_of(survey, {}, warnings).lag_s == Approx(3).margin(0.1));
}

TEST_CASE("a longer take finds the lag of a rougher track", "[engine]") {
    const auto lag = [](double seconds, double jitter) {
        return hold_against(track_of(1.5, wandering_rpm, seconds, jitter), log_of([](double t) { return wandering_rpm(t - 1); }, -5, 25, 0.2), 6)
            ->lag_s;
    };
    for (const double seconds : {8.0, 20.0}) CHECK(lag(seconds, 0.002));
    CHECK(lag(20, 0.022));
    CHECK_FALSE(lag(8, 0.022));
    CHECK_FALSE(lag(20, 0.04));
}
