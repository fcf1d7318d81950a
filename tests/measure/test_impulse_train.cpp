#include "hushtrace/measure/impulse_train.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

TEST_CASE("clicks at a wandering rate are found, at their rate and not its half or double", "[impulse]") {
    for (const double rate : {12.5, 25.0, 31.25, 66.7, 100.0}) {
        CAPTURE(rate);
        auto x = noise(10.0, 0.01, 7);
        add_tone(x, 1250.0, 0.02, 0.015);  // a whine beside them
        add_clicks(x, rate, 0.08, 0.015, 8);
        const auto train = find_impulse_train(x, kRate);
        REQUIRE(train);
        CHECK(train->rate.mean_hz() == Approx(rate).epsilon(0.01));
        CHECK(train->rate.wander() == Approx(0.015).epsilon(0.4));
        CHECK(train->contrast_db > 2.0);   // averaged over a twenty-fourth of the period
    }
}

TEST_CASE("the power that clicks add is read within 3 dB", "[impulse]") {
    // one click's energy: a² sum of exp(-2k/14) cos²(0.8 k); scatter of 15 % adds 2 %
    double energy = 0;
    for (int k = 0; k < 90; ++k) energy += std::exp(-2.0 * k / 14.0) * std::pow(std::cos(0.8 * k), 2);
    auto x = noise(12.0, 0.003, 9);
    const auto count = add_clicks(x, 25.0, 0.2, 0.01, 10);
    const double truth = 1.02 * 0.04 * energy * static_cast<double>(count) / static_cast<double>(x.size());
    const auto train = find_impulse_train(x, kRate);
    REQUIRE(train);
    CHECK(10 * std::log10(train->mean_square / truth) == Approx(0.0).margin(3.0));
}

TEST_CASE("noise, tones and hum are no clicks", "[impulse]") {
    std::size_t false_alarms = 0;
    for (unsigned seed = 20; seed < 30; ++seed) {
        auto x = noise(6.0, 0.01, seed);
        add_tone(x, 50.0, 0.1, 0.0);
        add_tone(x, 150.0, 0.05, 0.0);
        add_tone(x, 3000.0, 0.02, 0.01);
        add_tone(x, 6000.0, 0.01, 0.01);
        if (find_impulse_train(x, kRate)) ++false_alarms;
    }
    CHECK(false_alarms == 0);
}

TEST_CASE("the best path through white noise's envelope scores as the threshold assumes", "[impulse]") {
    ImpulseSearch search;
    search.least_significance = -1e9;
    double mean = 0;
    for (unsigned seed = 1; seed <= 10; ++seed) {
        const auto train = find_impulse_train(noise(8.0, 1.0, seed), kRate, search);
        REQUIRE(train);
        CHECK(train->significance < 4.0);
        mean += train->significance / 10.0;
    }
    CHECK(std::abs(mean) < 1.2);
}

namespace {

/// Four seconds at 8 kHz of noise and impulses, every one of them as high as the row says.
std::vector<double> impulses(double rate_hz, const std::vector<double>& heights) {
    std::mt19937 random(3);
    std::normal_distribution<double> normal(0.0, 1e-3);
    std::vector<double> out(32000);
    for (double& x : out) x = normal(random);
    for (std::size_t i = 0; 0.01 + static_cast<double>(i) / rate_hz < 4.0; ++i)
        out[static_cast<std::size_t>((0.01 + static_cast<double>(i) / rate_hz) * 8000)] += heights[i % heights.size()];
    return out;
}
void check_rate(double rate_hz, const std::vector<double>& heights) {
    CAPTURE(rate_hz, heights);
    const auto train = find_impulse_train(impulses(rate_hz, heights), 8000);
    REQUIRE(train);
    CHECK(train->rate.mean_hz() == Approx(rate_hz).epsilon(1e-3));
}

}  // namespace

TEST_CASE("even clicks have their own rate, no half, third or multiple of it", "[impulse]") {
    for (const double rate_hz : {8.3, 31.7, 120.0}) check_rate(rate_hz, {0.1});
}

TEST_CASE("clicks that differ by half have the rate of all", "[impulse]") {
    check_rate(43.0, {0.1, 0.06});
    check_rate(60.0, {0.1, 0.07, 0.06});
}

TEST_CASE("thumps below 2 kHz are no clicks", "[impulse]") {
    auto sound = impulses(20.0, {0.0});
    for (std::size_t i = 0; i < 79; ++i)
        for (std::size_t n = 0; n < 160; ++n) {
            const double x = static_cast<double>(n) / 160;
            sound[400 * i + n] += 0.05 * std::pow(std::sin(std::numbers::pi * x), 4) * std::sin(2.0 * std::numbers::pi * 8.0 * x);   // 400 Hz
        }
    CHECK_FALSE(find_impulse_train(sound, 8000));
}

TEST_CASE("of two trains the stronger is told first, the faint one last", "[impulse]") {
    auto sound = impulses(31.0, {0.2});
    const auto other = impulses(17.3, {0.1});
    for (std::size_t n = 0; n < sound.size(); ++n) sound[n] += other[n];
    const auto trains = find_impulse_trains(sound, 8000);
    REQUIRE(trains.size() == 2);
    CHECK(trains[0].rate.mean_hz() == Approx(31.0).epsilon(1e-3));
    CHECK(trains[1].rate.mean_hz() == Approx(17.3).epsilon(2e-3));
    ImpulseSearch one;
    one.most_trains = 1;
    CHECK(find_impulse_trains(sound, 8000, one).size() == 1);
}
