#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "hushtrace/measure/ridge.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

namespace {

RidgeSearch nimble_search() {
    RidgeSearch search;
    search.from_hz = 3500.0;
    search.to_hz = 20000.0;
    search.nimble = true;
    search.least_log_evidence = 8.0;
    search.most_ridges = 2;
    return search;
}

/// Frequency over time: a random walk that is drawn back to its middle within four seconds (Ornstein and Uhlenbeck 1930).
std::vector<double> walk(double middle_hz, double share, double seconds, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal;
    constexpr double back_s = 4.0, step_s = 0.02;
    std::vector<double> hz;
    double at = 0;
    for (std::size_t n = 0; n < static_cast<std::size_t>(seconds * kRate); ++n) {
        if (n % static_cast<std::size_t>(step_s * kRate) == 0)
            at = at * std::exp(-step_s / back_s) + normal(engine) * std::sqrt(1.0 - std::exp(-2.0 * step_s / back_s));
        hz.push_back(middle_hz * (1.0 + share * at));
    }
    return hz;
}

void add_line(std::vector<double>& into, const std::vector<double>& hz, double amplitude) {
    double turns = 0;
    for (std::size_t n = 0; n < into.size(); ++n) {
        into[n] += amplitude * std::sin(2.0 * std::numbers::pi * turns);
        turns = std::fmod(turns + hz[n] / kRate, 1.0);
    }
}

}  // namespace

TEST_CASE("a high line that walks by several per cent is followed by the nimble search alone", "[ridge]") {
    for (const double middle_hz : {5200.0, 11000.0, 17000.0}) {
        CAPTURE(middle_hz);
        // noise of rms 0.01 has 4.2e-9 in 1 Hz; the line's power is 400 times that, 34 dB below all the noise's
        auto sound = noise(6.0, 0.01, 4);
        const auto hz = walk(middle_hz, 0.05, 6.0, 7);
        add_line(sound, hz, 1.83e-3);
        const auto ridges = find_ridges(sound, kRate, nimble_search());
        REQUIRE(ridges.size() == 1);
        const Track& track = ridges.front().track;
        int near = 0, all = 0;
        for (double t = 0.1; t < 5.9; t += 0.05, ++all)
            near += std::abs(track.at(t) - hz[static_cast<std::size_t>(t * kRate)]) < 100.0 ? 1 : 0;   // two bins of a 20 ms window
        CHECK(near > 0.8 * all);
        RidgeSearch slow;
        slow.from_hz = 0.8 * middle_hz;
        slow.to_hz = 1.2 * middle_hz;
        CHECK(line_log_evidence(sound, kRate, slow) < ridges.front().log_evidence);
    }
}

TEST_CASE("the nimble search finds nothing in noise, in a hump of it, nor in lines that hold still", "[ridge]") {
    for (unsigned seed = 1; seed <= 6; ++seed) CHECK(find_ridges(noise(5.0, 0.01, seed), kRate, nimble_search()).empty());
    // a resonance of 300 Hz about 6 kHz, 15 dB high
    auto sound = noise(6.0, 0.01, 8);
    const double r = std::exp(-std::numbers::pi * 300.0 / kRate), turn = 2.0 * std::numbers::pi * 6000.0 / kRate;
    double one = 0, two = 0;
    for (double& x : sound) {
        const double next = x + 2.0 * r * std::cos(turn) * one - r * r * two;
        two = one;
        one = next;
        x += 0.13 * next;
    }
    CHECK(find_ridges(sound, kRate, nimble_search()).empty());
    auto tones = noise(6.0, 0.01, 9);
    for (const double hz : {4000.0, 8000.0, 12000.0}) add_line(tones, std::vector<double>(tones.size(), hz), 2e-3);
    CHECK(find_ridges(tones, kRate, nimble_search()).empty());
}
