#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/measure/guided_ridges.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/wander_population.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

namespace {

/// Share of the points at which a track lies within a share of the truth.
double share_within(const Track& track, const WanderTake& take, double share) {
    double within = 0, all = 0;
    for (double t = 0.5; t < static_cast<double>(take.samples.size()) / take.rate_hz - 0.5; t += 0.1, ++all) {
        const double truth = take.frequency_hz[static_cast<std::size_t>(t * take.rate_hz)];
        if (std::abs(track.at(t) / truth - 1.0) < share) ++within;
    }
    return within / all;
}

}  // namespace

TEST_CASE("along a log whose clock is off, a line too faint to be followed is found, and the clock's error told", "[ridge]") {
    WanderLaw law;
    law.wander = 0.01;
    law.whine_to_noise_db = -34;  // 2 dB under what nine of ten takes show with nothing known
    int found = 0, lag_right = 0;
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        const WanderTake take = wander_take(law, seed);
        Track log = take.speed;
        for (double& t : log.time_s) t += 1.35;
        RidgeSearch search;
        search.least_log_evidence = 6.0;
        const GuidedRidges guided = find_ridges_along(take.samples, take.rate_hz, log, search, 3.0);
        const bool right = std::any_of(guided.ridges.begin(), guided.ridges.end(), [&](const Ridge& ridge) {
            return share_within(ridge.track, take, 0.003) > 0.9;
        });
        if (right) ++found;
        if (std::abs(guided.lag_s - 1.35) < 0.16) ++lag_right;
    }
    CHECK(found >= 5);
    CHECK(lag_right >= 5);
}

TEST_CASE("along a log noise shows nothing, whatever lag is tried; nor does a line that holds still", "[ridge]") {
    WanderLaw law;
    law.wander = 0.02;
    law.whine_to_noise_db = -300;
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        WanderTake take = wander_take(law, seed);
        for (std::size_t n = 0; n < take.samples.size(); ++n)
            take.samples[n] += 2.0 * std::sin(2.0 * std::numbers::pi * 1000.3 * static_cast<double>(n) / take.rate_hz);
        RidgeSearch search;
        search.least_log_evidence = 6.0;
        search.still.push_back({1000.3, 40.0});
        CHECK(find_ridges_along(take.samples, take.rate_hz, take.speed, search, 3.0).ridges.empty());
    }
}

TEST_CASE("along a log the line of an engine that is revved up is followed", "[ridge]") {
    // 800 to 3200 rpm in 4 s and back: 600 rpm a second
    const auto rpm = [](double t) { return 800.0 + 2400.0 * std::clamp(t < 6.0 ? (t - 2.0) / 4.0 : (10.0 - t) / 4.0, 0.0, 1.0); };
    auto x = noise(12.0, 0.01, 5);
    double turns = 0;
    for (std::size_t n = 0; n < x.size(); ++n) {
        x[n] += 0.004 * std::sin(2.0 * std::numbers::pi * turns);
        turns = std::fmod(turns + 1.5 * rpm(static_cast<double>(n) / kRate) / kRate, 1.0);
    }
    Track log;
    for (double t = 0; t <= 12.0; t += 0.1) {
        log.time_s.push_back(t);
        log.frequency_hz.push_back(rpm(t));
    }
    const GuidedRidges guided = find_ridges_along(x, kRate, log, {}, 0.0);
    REQUIRE_FALSE(guided.ridges.empty());
    double worst = 0;
    for (double t = 0.5; t < 11.5; t += 0.05) worst = std::max(worst, std::abs(guided.ridges.front().track.at(t) / (1.5 * rpm(t)) - 1.0));
    CHECK(worst < 0.01);
}

TEST_CASE("a speed to search along must be above zero; too little sound holds nothing", "[ridge]") {
    CHECK_THROWS_AS(find_ridges_along(noise(3.0, 0.1, 1), kRate, Track{{0.0, 1.0}, {700.0, 0.0}}, {}, 0.0), Error);
    CHECK_THROWS_AS(find_ridges_along(noise(3.0, 0.1, 1), kRate, Track{}, {}, 0.0), Error);
    CHECK(find_ridges_along(noise(0.5, 0.1, 1), kRate, Track{{0.0, 1.0}, {700.0, 720.0}}, {}, 0.0).ridges.empty());
}

TEST_CASE("a line along a log is told in time, with the clock's error, and what is known is passed by", "[ridge]") {
    // five seconds at 4 kHz, a speed that swings by 8 % twice in five seconds, a line at half of it, 40 dB over the noise in 1 Hz
    constexpr double rate = 4000, pi2 = 2.0 * std::numbers::pi;
    const auto speed = [](double t) { return 1000.0 * (1.0 + 0.08 * std::sin(pi2 * 0.4 * t)); };
    std::mt19937_64 engine(6);
    std::normal_distribution<double> normal(0.0, 0.01);
    std::vector<double> sound(20000);
    double turns = 0;
    for (std::size_t n = 0; n < sound.size(); ++n) {
        const double t = static_cast<double>(n) / rate;
        sound[n] = normal(engine) + 0.03 * std::sin(pi2 * turns);
        turns = std::fmod(turns + 0.5 * speed(t) / rate, 1.0);
    }
    for (const double lag_s : {0.0, 0.2, -0.15}) {
        Track log;
        for (double t = -1.0; t <= 6.0; t += 0.05) {
            log.time_s.push_back(t + lag_s);
            log.frequency_hz.push_back(speed(t));
        }
        RidgeSearch search;
        search.to_hz = 1800;
        const GuidedRidges guided = find_ridges_along(sound, rate, log, search, lag_s == 0.0 ? 0.0 : 0.31);
        CAPTURE(lag_s);
        CHECK(guided.lag_s == Approx(lag_s).margin(0.051));
        REQUIRE(guided.ridges.size() == 1);
        const Ridge& ridge = guided.ridges.front();
        REQUIRE(ridge.track.time_s.size() == 251);   // every 20 ms
        REQUIRE(ridge.frequency_sd_hz.size() == 251);
        for (std::size_t i = 0; i < 251; ++i) {
            CHECK(ridge.track.time_s[i] == Approx(0.02 * static_cast<double>(i)).margin(1e-9));
            CHECK(ridge.frequency_sd_hz[i] > 0.0);
            CHECK(ridge.frequency_sd_hz[i] < 5.0);
            if (i <= 25 || i >= 225) continue;
            CHECK(ridge.track.frequency_hz[i] == Approx(0.5 * speed(0.02 * static_cast<double>(i))).epsilon(lag_s == 0 ? 0.003 : 0.01));
        }
        CHECK(ridge.snr_db == Approx(10 * std::log10(0.5 * 0.03 * 0.03 / (1e-4 / 2000))).margin(3.0));
        if (lag_s != 0.0) continue;
        RidgeSearch again = search;
        again.known = guided.ridges;
        CHECK(find_ridges_along(sound, rate, log, again, 0.0).ridges.empty());
    }
}

TEST_CASE("a loud line that holds still is passed by along a log as well", "[ridge]") {
    constexpr double rate = 4000, pi2 = 2.0 * std::numbers::pi;
    std::mt19937_64 engine(8);
    std::normal_distribution<double> normal(0.0, 0.01);
    std::vector<double> sound(16000);
    for (std::size_t n = 0; n < sound.size(); ++n) sound[n] = normal(engine) + 0.03 * std::sin(pi2 * 700.3 * static_cast<double>(n) / rate);
    RidgeSearch search;
    search.to_hz = 1800;
    const Track log{{0.0, 2.0, 4.0}, {900.0, 909.0, 900.0}};
    CHECK_FALSE(find_ridges_along(sound, rate, log, search, 0.0).ridges.empty());
    search.still.push_back({700.3, 10 * std::log10(0.5 * 0.03 * 0.03 / (1e-4 / 2000))});
    CHECK(find_ridges_along(sound, rate, log, search, 0.0).ridges.empty());
}
