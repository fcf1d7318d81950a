#include "hushtrace/vehicle/steady_signatures.hpp"

#include <cmath>
#include <numbers>

#include <catch2/catch.hpp>

using namespace hushtrace;

TEST_CASE("a pulse train's harmonics are those of its Fourier series", "[steady_signatures]") {
    // summed by the rectangle rule over one period of a pulse of height 1: no formula
    for (const double duty : {0.5, 0.3, 0.125, 0.71}) {
        const int points = 200000;
        for (const int number : {1, 2, 3, 5, 7}) {
            CAPTURE(duty, number);
            double re = 0, im = 0;
            for (int i = 0; i < points; ++i) {
                const double turn = (i + 0.5) / points;
                if (turn >= duty) continue;
                re += std::cos(2.0 * std::numbers::pi * number * turn) / points;
                im += std::sin(2.0 * std::numbers::pi * number * turn) / points;
            }
            const double magnitude = std::hypot(re, im);
            if (magnitude * std::numbers::pi * number > 0.05)
                CHECK(pulse_harmonic_db(number, duty, 0.0) == Approx(20.0 * std::log10(magnitude)).margin(0.01));
        }
    }
    // a square wave's third is a third of its first; its second is nulled on paper, and in life some 30 dB down
    CHECK(pulse_harmonic_db(3, 0.5, 0.0) - pulse_harmonic_db(1, 0.5, 0.0) == Approx(-9.5424).margin(1e-3));
    CHECK(pulse_harmonic_db(2, 0.5, 0.0) - pulse_harmonic_db(1, 0.5, 0.0) < -30.0);
    CHECK(std::isfinite(pulse_harmonic_db(8, 0.125, 0.0)));
}

TEST_CASE("a coil's coupling lifts a harmonic by its number, slow edges lower it as much", "[steady_signatures]") {
    // a derivative brings 6.02 dB an octave
    CHECK(pulse_harmonic_db(4, 0.3, 1.0) - pulse_harmonic_db(4, 0.3, 0.0) == Approx(12.0412).margin(1e-3));
    CHECK(pulse_harmonic_db(4, 0.3, -1.0) - pulse_harmonic_db(4, 0.3, 0.0) == Approx(-12.0412).margin(1e-3));
    CHECK(pulse_harmonic_db(1, 0.3, 1.0) == Approx(pulse_harmonic_db(1, 0.3, 0.0)));
}
