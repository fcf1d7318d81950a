#include "hushtrace/measure/order_map.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/signal/error.hpp"
#include "measure/wandering.hpp"

using namespace hushtrace;
using namespace wandering;

namespace {

/// From 600 to 1500 Hz and back in ten seconds.
double swept(double t) { return 600.0 + 900.0 * std::sin(std::numbers::pi * t / 10.0); }

Track sweep_track() {
    Track track;
    for (double t = 0; t <= 10.0; t += 0.02) {
        track.time_s.push_back(t);
        track.frequency_hz.push_back(swept(t));
    }
    return track;
}

}  // namespace

TEST_CASE("on an order map a sweep's line lies level, and a fixed one falls as it climbs", "[order]") {
    std::vector<double> x = noise(10.0, 1e-4, 3);
    double turns = 0;
    for (std::size_t n = 0; n < x.size(); ++n) {
        const double t = static_cast<double>(n) / kRate;
        x[n] += 0.1 * std::sin(2 * std::numbers::pi * turns) + 0.05 * std::sin(4 * std::numbers::pi * turns) +
                0.1 * std::sin(2 * std::numbers::pi * 4700.0 * t);
        turns = std::fmod(turns + swept(t + 0.5 / kRate) / kRate, 1.0);
    }
    const Track track = sweep_track();
    const OrderMap map = order_map(resample_by_cycles(x, kRate, track), track, 6.0, 300);
    REQUIRE(map.time_s.size() > 60);
    REQUIRE(map.level_dbfs.front().size() == 300);
    double worst_level = 0, worst_double = 0, worst_time = 0;
    for (std::size_t i = 2; i + 2 < map.time_s.size(); ++i) {
        worst_time = std::max(worst_time, std::abs(map.frequency_hz[i] - swept(map.time_s[i])));
        const auto level = [&](double ratio) {  // the best of the rows about a ratio
            const auto row = static_cast<std::size_t>(ratio / map.row_ratio);
            double best = -200;
            for (std::size_t r = row - 1; r <= std::min<std::size_t>(row + 1, 299); ++r)
                best = std::max(best, static_cast<double>(map.level_dbfs[i][r]));
            return best;
        };
        // a sine of amplitude A reads 20 log10 A; a Hann window reads up to 1.4 dB low between two bins
        worst_level = std::max(worst_level, std::abs(level(1.0) + 20.7));
        worst_double = std::max(worst_double, std::abs(level(2.0) + 26.7));
        if (4700.0 / map.frequency_hz[i] < 5.9) CHECK(level(4700.0 / map.frequency_hz[i]) > -35.0);  // smeared a little
        CHECK(level(1.5) < -55.0);
    }
    CHECK(worst_level < 1.0);
    CHECK(worst_double < 1.0);
    CHECK(worst_time < 2.0);
}

TEST_CASE("an order map of too little is empty, and of nonsense refused", "[order]") {
    const Track track{{0.0, 1.0}, {1000.0, 1000.0}};
    CHECK(order_map(resample_by_cycles(noise(0.1, 0.1, 1), kRate, track), track, 5.0).empty());
    const CycleSamples cycles = resample_by_cycles(noise(1.0, 0.1, 1), kRate, track);
    CHECK(order_map(cycles, track, 1000.0, 50).level_dbfs.front().size() == 50);
    CHECK_THROWS_AS(order_map(cycles, Track{}, 5.0), Error);
    CHECK_THROWS_AS(order_map(cycles, track, 0.0), Error);
    CHECK_THROWS_AS(order_map(cycles, track, 5.0, 0), Error);
}

TEST_CASE("an order map's rows and columns are those of its windows", "[order]") {
    // 16 samples a cycle, windows of 0.16 s at 100 Hz: 256 samples, bins of a 16th of the line's frequency. Tones of amplitude a in the
    // middle of a bin read 20 log a in it and 6.02 dB less in either neighbour.
    CycleSamples cycles;
    cycles.samples_per_cycle = 16.0;
    for (int n = 0; n < 1024; ++n) {
        const double turn = 2.0 * std::numbers::pi * n / 16.0;
        cycles.samples.push_back(0.1 * std::cos(2.0 * turn) + 0.01 * std::cos(3.9375 * turn));
    }
    const Track track{{0.0, 10.0}, {100.0, 100.0}};
    const OrderMap fine = order_map(cycles, track, 4.0, 300, 0.16);
    CHECK(fine.row_ratio == 0.0625);
    REQUIRE(fine.level_dbfs.size() == 7);   // half overlapping
    REQUIRE(fine.level_dbfs[3].size() == 64);
    for (std::size_t i = 0; i < 7; ++i) {
        CHECK(fine.time_s[i] == Approx(0.08 * static_cast<double>(i + 1)));   // 8 cycles from middle to middle
        CHECK(fine.frequency_hz[i] == 100.0);
        CHECK(fine.level_dbfs[i][32] == Approx(-20.0).margin(0.01));
        CHECK(fine.level_dbfs[i][31] == Approx(-26.02).margin(0.01));
        CHECK(fine.level_dbfs[i][33] == Approx(-26.02).margin(0.01));
        CHECK(fine.level_dbfs[i][63] == Approx(-40.0).margin(0.01));
        CHECK(fine.level_dbfs[i][10] == Approx(-196.99).margin(0.01));   // the mean square of silence is taken for 1e-20
    }
    // two bins a row: the higher of the two
    const OrderMap coarse = order_map(cycles, track, 4.0, 32, 0.16);
    CHECK(coarse.row_ratio == 0.125);
    REQUIRE(coarse.level_dbfs[3].size() == 32);
    CHECK(coarse.level_dbfs[3][16] == Approx(-20.0).margin(0.01));
    CHECK(coarse.level_dbfs[3][15] == Approx(-26.02).margin(0.01));
    CHECK(coarse.level_dbfs[3][17] < -150.0);
    CHECK(coarse.level_dbfs[3][31] == Approx(-40.0).margin(0.01));
    // no farther than half the samples of a cycle
    const OrderMap all = order_map(cycles, track, 100.0, 1000, 0.16);
    CHECK(all.level_dbfs[0].size() == 128);
    CHECK(order_map(cycles, track, 100.0, 4, 0.16).row_ratio == 2.0);
    CHECK(order_map(cycles, track, 0.01, 4, 0.16).level_dbfs[0].size() == 1);   // one row at least
    CHECK(order_map(cycles, track, 4.0, 64, 1e-9).time_s.front() == Approx(0.005));   // 16 samples at least: half a cycle
    cycles.samples.resize(256);
    CHECK(order_map(cycles, track, 4.0, 64, 0.16).level_dbfs.size() == 1);
    cycles.samples.resize(255);
    CHECK(order_map(cycles, track, 4.0, 64, 0.16).empty());
    // a track that climbs, f = 100 + 50 t, has made 100 t + 25 t^2 cycles by then
    cycles.samples.assign(2560, 0.0);
    Track climbing;
    for (int k = 0; k <= 20; ++k) {
        climbing.time_s.push_back(0.1 * k);
        climbing.frequency_hz.push_back(100.0 + 5.0 * k);
    }
    const OrderMap climb = order_map(cycles, climbing, 4.0, 64, 0.16);
    REQUIRE(climb.time_s.size() > 10);
    const double apart = 100.0 * climb.time_s[0] + 25.0 * climb.time_s[0] * climb.time_s[0];
    CHECK(apart == Approx(12.0).margin(0.01));   // half of 24 cycles: 384 samples, the next fast length from 0.16 s at 150 Hz on
    for (std::size_t i = 0; i < climb.time_s.size(); ++i) {
        CHECK(100.0 * climb.time_s[i] + 25.0 * climb.time_s[i] * climb.time_s[i] == Approx(12.0 * static_cast<double>(i + 1)).margin(0.01));
        CHECK(climb.frequency_hz[i] == Approx(100.0 + 50.0 * climb.time_s[i]));
    }
}
