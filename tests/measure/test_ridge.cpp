#include "hushtrace/measure/ridge.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

TEST_CASE("a wandering line is followed, and its wander read", "[ridge]") {
    // amplitude 0.01 in noise of rms 0.01: the tone's power is 1/2 of all the noise's, 33 dB over it in a 9
    // Hz cell
    auto x = noise(8.0, 0.01, 1);
    add_tone(x, 1240.0, 0.01, 0.018);
    const auto ridges = find_ridges(x, kRate);
    REQUIRE(ridges.size() >= 1);
    const Track& track = ridges.front().track;
    CHECK(track.mean_hz() == Approx(1240.0).epsilon(0.005));
    CHECK(track.wander() == Approx(0.018).epsilon(0.15));
    for (double t = 0.5; t < 7.5; t += 0.25)
        CHECK(track.at(t) == Approx(1240.0 * speed(t, 0.018)).margin(6.0));  // one bin of the 0.17 s window
}

TEST_CASE("noise alone has no ridge", "[ridge]") {
    std::size_t false_alarms = 0;
    for (unsigned seed = 100; seed < 112; ++seed)
        false_alarms += find_ridges(noise(5.0, 0.1, seed), kRate).size();
    CHECK(false_alarms == 0);
}

TEST_CASE("the best path through white noise scores as the threshold assumes", "[ridge]") {
    // significance is counted in standard deviations: over 10 runs their mean lies near 0, none beyond 4
    RidgeSearch search;
    search.least_significance = -1e9;
    search.most_ridges = 1;
    double mean = 0;
    for (unsigned seed = 1; seed <= 10; ++seed) {
        const double s = find_ridges(noise(6.0, 1.0, seed), kRate, search).front().significance;
        CHECK(s < 4.0);
        mean += s / 10.0;
    }
    CHECK(std::abs(mean) < 1.2);
}

TEST_CASE("a line in the hiss is followed where one spectrum bin would hide it", "[ridge]") {
    // tone power 31 dB below the noise's: about 3 dB over the noise in one cell at the start of the search's
    // reach
    auto x = noise(12.0, 0.1, 5);
    add_tone(x, 1500.0, 0.1 * std::sqrt(2.0) * std::pow(10.0, -26.0 / 20.0), 0.012);
    const auto ridges = find_ridges(x, kRate);
    REQUIRE(ridges.size() == 1);
    CHECK(ridges.front().track.mean_hz() == Approx(1500.0).epsilon(0.01));
}

TEST_CASE("a track holds its ends and runs straight between its points", "[ridge]") {
    const Track track{{1.0, 2.0, 3.0}, {10.0, 20.0, 40.0}};
    CHECK(track.at(0.0) == 10.0);
    CHECK(track.at(1.5) == Approx(15.0));
    CHECK(track.at(2.25) == Approx(25.0));
    CHECK(track.at(9.0) == 40.0);
}

TEST_CASE("the best path takes the brighter of two crossing ways only as fast as it may", "[ridge]") {
    // a bright cell out of reach does not tempt the path
    std::vector<std::vector<float>> score(6, std::vector<float>(20, 0.0F));
    for (auto& column : score) column[5] = 1.0F;
    score[3][18] = 4.0F;
    const GridPath path = best_path(score, 2, 0.0);
    for (const std::size_t cell : path.cells) CHECK(cell == 5);
    CHECK(path.mean_score == Approx(1.0));
}
