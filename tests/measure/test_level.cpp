#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "hushtrace/measure/level.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

TEST_CASE("a full-scale sine reads 0 dBFS rms and 0 dBFS peak", "[level]") {
    // AES17: 0 dBFS is the rms of a full-scale sine. 100 whole cycles, peaks hit by a sample.
    std::vector<double> sine(4800);
    for (std::size_t n = 0; n < sine.size(); ++n)
        sine[n] = std::cos(2.0 * std::numbers::pi * static_cast<double>(n) / 48.0);
    const Level level = measure_level(sine);
    CHECK(level.rms_dbfs == Approx(0.0).margin(1e-9));
    CHECK(level.peak_dbfs == Approx(0.0).margin(1e-9));
    CHECK(level.mean == Approx(0.0).margin(1e-12));
}

TEST_CASE("a full-scale square wave reads 3.01 dB above a full-scale sine", "[level]") {
    // AES17; 20 log10(sqrt 2) = 3.0103.
    std::vector<double> square(1000);
    for (std::size_t n = 0; n < square.size(); ++n) square[n] = n % 2 == 0 ? 1.0 : -1.0;
    CHECK(measure_level(square).rms_dbfs == Approx(3.0103).margin(0.0001));
}

TEST_CASE("a meter fed in pieces reads what it reads of the whole", "[level]") {
    std::vector<double> wave(9999);
    for (std::size_t n = 0; n < wave.size(); ++n)
        wave[n] = 0.3 * std::sin(0.1 * static_cast<double>(n)) + 0.05;
    const std::span<const double> whole = wave;
    LevelMeter meter;
    meter.add(whole.first(1));
    meter.add(whole.subspan(1, 5000));
    meter.add(whole.subspan(5001));
    CHECK(meter.result().rms_dbfs == Approx(measure_level(whole).rms_dbfs).margin(1e-9));
    CHECK(meter.result().mean == Approx(0.05).margin(2e-4));
    CHECK(meter.count() == 9999);
}

TEST_CASE("silence, nothing and a NaN are told apart", "[level]") {
    const std::vector<double> silence(10, 0.0);
    CHECK(std::isinf(measure_level(silence).rms_dbfs));
    CHECK_THROWS_AS(measure_level({}), Error);
    const std::vector<double> broken = {0.0, std::numeric_limits<double>::quiet_NaN()};
    try {
        measure_level(broken);
        FAIL("a NaN was accepted");
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::not_finite);
    }
}
