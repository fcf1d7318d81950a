#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/measure/folding.hpp"

using namespace hushtrace;

namespace {

/// Harmonic k of a sine of peak 1 clipped at `rail`, by its Fourier integral (closed form: half angle theta over the rail).
double clipped_harmonic(int k, double rail) {
    if (k % 2 == 0) return 0.0;
    const double a = std::asin(rail);
    const double pi = std::numbers::pi;
    if (k == 1) return 2.0 / pi * (a + rail * std::cos(a));
    const double n = k;
    return 2.0 / pi * (std::sin((n - 1) * a) / (n - 1) - std::sin((n + 1) * a) / (n + 1)) +
           4.0 * rail / (pi * n) * std::cos(n * a);
}

/// A clipped sine as captured at 48 kHz: its harmonics fold at stage_hz, or end at 20 kHz where that is 0.
std::vector<double> captured(double tone_hz, double drive_db, double stage_hz, double noise_rms, double seconds = 1.2) {
    const double rate = 48000, rail = std::pow(10.0, -drive_db / 20);
    std::vector<double> out(static_cast<std::size_t>(seconds * rate), 0.0);
    std::mt19937_64 engine(5);
    std::normal_distribution<double> noise(0.0, noise_rms);
    for (int k = 1; k < 140; k += 2) {
        double hz = k * tone_hz;
        if (stage_hz > 0) hz -= std::round(hz / stage_hz) * stage_hz;
        if (std::abs(hz) > 20000) continue;
        const double w = 2 * std::numbers::pi * hz / rate, amplitude = 0.4 * clipped_harmonic(k, rail);
        for (std::size_t n = 0; n < out.size(); ++n) out[n] += amplitude * std::sin(w * static_cast<double>(n));
    }
    for (double& x : out) x += noise(engine);
    return out;
}

}  // namespace

TEST_CASE("clipping in numbers leaves lines between the harmonics, an analogue rail doesn't", "[folding]") {
    for (const double stage_hz : {44100.0, 48000.0 * (1 + 140e-6), 96000.0})
        for (const double drive_db : {0.5, 2.0}) {
            CAPTURE(stage_hz, drive_db);
            const auto found = find_folding(captured(997, drive_db, stage_hz, 1e-5), 48000, 997);
            REQUIRE(found);
            CHECK(found->clipped_at_hz == Approx(stage_hz).epsilon(2e-4));
            CHECK(found->clock_ppm == Approx(1e6 * (stage_hz / found->clipped_at_hz - 1)).margin(12));
            // the lines that fall below 20 kHz, summed from the closed form
            double power = 0;
            const double rail = std::pow(10.0, -drive_db / 20);
            for (int k = 1; k < 140; k += 2)
                if (k * 997.0 > 0.5 * stage_hz && k * 997.0 < 1.5 * stage_hz && std::abs(k * 997.0 - stage_hz) < 20000)
                    power += std::pow(clipped_harmonic(k, rail), 2);
            CHECK(found->level_db == Approx(10 * std::log10(power) - 20 * std::log10(clipped_harmonic(1, rail))).margin(1.5));
        }
    for (const double drive_db : {0.5, 2.0, 8.0}) CHECK_FALSE(find_folding(captured(997, drive_db, 0, 1e-5), 48000, 997));
}

TEST_CASE("noise doesn't pass for folding, and hides it only where it is loud", "[folding]") {
    for (const double noise_rms : {1e-5, 1e-3, 1e-2}) CHECK_FALSE(find_folding(captured(997, 1.0, 0, noise_rms), 48000, 997));
    CHECK(find_folding(captured(997, 1.0, 44100, 1e-3), 48000, 997));
}

TEST_CASE("what can't show folding finds none", "[folding]") {
    CHECK_FALSE(find_folding(captured(1000, 2.0, 48000, 1e-5), 48000, 1000));  // falls on the harmonics
    CHECK_FALSE(find_folding(captured(997, 2.0, 44100, 1e-5, 0.05), 48000, 997));
    CHECK_FALSE(find_folding(std::vector<double>(48000, 0.0), 48000, 997));
    auto broken = captured(997, 2.0, 44100, 1e-5);
    broken[100] = std::nan("");
    CHECK_FALSE(find_folding(broken, 48000, 997));
}
