#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/measure/phase_memory.hpp"

using namespace hushtrace;

namespace {

constexpr double kRate = 8000.0, kSeconds = 12.0;

/// A sine whose frequency strays from 900 Hz as this says, turn by turn.
template <class Stray_hz>
std::vector<double> sine(Stray_hz stray_hz) {
    std::vector<double> out;
    double turns = 0;
    for (std::size_t i = 0; i < static_cast<std::size_t>(kSeconds * kRate); ++i) {
        turns += (900.0 + stray_hz(static_cast<double>(i) / kRate)) / kRate;
        out.push_back(std::sin(2.0 * std::numbers::pi * turns));
    }
    return out;
}

}  // namespace

TEST_CASE("a line that wanders slowly remembers its frequency") {
    CHECK(phase_memory(sine([](double t) { return 10.0 * std::sin(2.0 * std::numbers::pi * 0.3 * t); }), kRate, 900.0, 20.0) > 0.75);
    CHECK(phase_memory(sine([](double t) { return 4.0 * (t - 6.0); }), kRate, 900.0, 40.0) > 0.75);
}

TEST_CASE("a phase that hunts remembers nothing, nor does noise") {
    std::mt19937 random(3);
    std::normal_distribution<double> normal;
    // steps of variance s^2 a second make a Lorentz curve s^2 / (2 pi) Hz wide
    const double width_hz = 12.0, step_hz = std::sqrt(2.0 * std::numbers::pi * width_hz * kRate) / (2.0 * std::numbers::pi);
    CHECK(phase_memory(sine([&](double) { return step_hz * normal(random); }), kRate, 900.0, width_hz) < 0.35);
    // noise through two poles, of half-power width w: r = exp(-pi w / rate)
    std::vector<double> noise(static_cast<std::size_t>(kSeconds * kRate));
    const double r = std::exp(-std::numbers::pi * width_hz / kRate), turn = 2.0 * std::numbers::pi * 900.0 / kRate;
    double one = 0, two = 0;
    for (double& x : noise) {
        x = normal(random) + 2.0 * r * std::cos(turn) * one - r * r * two;
        two = one;
        one = x;
    }
    CHECK(phase_memory(noise, kRate, 900.0, width_hz) < 0.35);
}

TEST_CASE("too short a sound, or too wide a hump, has no memory to tell of") {
    CHECK(phase_memory(std::vector<double>(100, 1.0), kRate, 900.0, 5.0) == 0.0);
    CHECK(phase_memory(sine([](double) { return 0.0; }), kRate, 900.0, 4000.0) == 0.0);
}

TEST_CASE("what two steady lines remember follows from how far they lie apart") {
    // With 0.36 / 18 Hz of filter, 160 samples, a lag of as long and 7/4 of that apart, cos(wt) and its three companions give
    // cos^2(w lag) + cos(2 w apart) / 2 of the power squared; one line alone gives 1, wherever it lies.
    const double width_hz = 18.0, turn = 2.0 * std::numbers::pi;
    const auto pair_of = [&](double centre_hz, double beside_hz) {
        std::vector<double> out;
        for (std::size_t i = 0; i < static_cast<std::size_t>(kSeconds * kRate); ++i) {
            const double t = static_cast<double>(i) / kRate;
            out.push_back(std::cos(turn * (centre_hz - beside_hz) * t) + std::cos(turn * (centre_hz + beside_hz) * t));
        }
        return out;
    };
    for (const double beside_hz : {0.0, 5.0, 10.0, 12.5}) {
        const double lag = turn * beside_hz * 160.0 / kRate, apart = turn * beside_hz * 280.0 / kRate;
        const double remembered = beside_hz > 0.0 ? std::pow(std::cos(lag), 2) + 0.5 * std::cos(2.0 * apart) : 1.0;
        CAPTURE(beside_hz);
        CHECK(phase_memory(pair_of(900.0, beside_hz), kRate, 900.0, width_hz) == Approx(remembered).margin(0.01));
        // of a line that is half of the power the other half tells nothing
        CHECK(phase_memory(pair_of(900.0, beside_hz), kRate, 900.0, width_hz, 0.5) == Approx(4.0 * remembered).margin(0.04));
    }
    CHECK(phase_memory(pair_of(911.3, 0.0), kRate, 900.0, width_hz) == Approx(1.0).margin(0.01));
    CHECK(phase_memory(pair_of(900.0, 0.0), kRate, 900.0, width_hz, 0.0) == 0.0);
    CHECK(phase_memory(std::vector<double>(40000, 0.0), kRate, 900.0, width_hz) == 0.0);
}

TEST_CASE("the filter has eight samples at least, the sound 110 of its hops") {
    const std::vector<double> tone = sine([](double) { return 0.0; });
    CHECK(phase_memory(tone, kRate, 900.0, 359.9) == Approx(1.0).margin(0.02));   // 0.36 / 360 Hz at 8 kHz
    CHECK(phase_memory(tone, kRate, 900.0, 360.1) == 0.0);
    const std::span<const double> all(tone);
    CHECK(phase_memory(all.first(160 + 109 * 40), kRate, 900.0, 17.999) == Approx(1.0).margin(0.02));
    CHECK(phase_memory(all.first(160 + 109 * 40 - 1), kRate, 900.0, 17.999) == 0.0);
    CHECK(phase_memory(all.first(20), kRate, 900.0, 17.999) == 0.0);
}
