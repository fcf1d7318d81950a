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
