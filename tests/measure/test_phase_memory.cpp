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
