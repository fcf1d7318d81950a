#include <catch2/catch.hpp>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/measure/all_pass.hpp"
#include "hushtrace/measure/transfer.hpp"

using namespace hushtrace;

namespace {

/// A flat path at 24 points an octave from 23 Hz to 18.5 kHz, late by so much; with a second-order all-pass at `hz` (0: none).
/// The all-pass: H = (s^2 - s w/Q + w^2) / (s^2 + s w/Q + w^2), any textbook on filters.
Transfer path(double late_s, double hz, double q, bool turned) {
    Transfer out;
    for (int k = -131; k <= 101; ++k) {
        const double f = 1000.0 * std::pow(2.0, k / 24.0);
        std::complex<double> gain = std::polar(turned ? -1.0 : 1.0, 0.0) * std::polar(1.0, -2 * std::numbers::pi * f * late_s);
        if (hz > 0) {
            const std::complex<double> s(0, f / hz);
            gain *= (s * s - s / q + 1.0) / (s * s + s / q + 1.0);
        }
        out.push_back({f, gain, 1e-8, true});
    }
    return out;
}

}  // namespace

TEST_CASE("delay, polarity and all-pass are read wherever within 3 ms the coarse search puts the sound", "[coarse_delay]") {
    // At 14.8 kHz points lie 430 Hz apart: 1.2 ms turn one against the next by half a turn.
    for (const double off_s : {0.0, 0.4e-3, 1.25e-3, -1.25e-3, 2e-3, -3e-3})
        for (const bool turned : {false, true}) {
            CAPTURE(off_s, turned);
            const auto plain = fit_delay(path(2e-3, 0, 1, turned), {.around_s = 2e-3 + off_s, .sweep_from_hz = {}, .sweep_constant_s = {}});
            REQUIRE(plain);
            CHECK(plain->delay_s.value == Approx(2e-3).margin(1e-6));
            CHECK(plain->inverted == turned);
            CHECK(plain->sure);
            const auto bare = find_all_passes(path(2e-3, 0, 1, turned), 2e-3 + off_s);
            REQUIRE(bare);
            CHECK(bare->all_passes.empty());
            CHECK(bare->inverted == turned);
            const auto passed = find_all_passes(path(2e-3, 793.4, 0.653, turned), 2e-3 + off_s);
            REQUIRE(passed);
            REQUIRE(passed->all_passes.size() == 1);
            CHECK(passed->all_passes[0].frequency_hz.value == Approx(793.4).epsilon(0.01));
            CHECK(passed->all_passes[0].q == Approx(0.653).epsilon(0.03));
            CHECK(passed->inverted == turned);
            CHECK(passed->delay_s.value == Approx(2e-3).margin(5e-6));
        }
}
