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
