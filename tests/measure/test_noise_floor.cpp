#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "reference/table.hpp"

using namespace hushtrace;

TEST_CASE("the A curve is that of IEC 61672-1", "[noise_floor]") {
    for (const auto& row : reference::table("weighting_iec61672.csv")) {
        const double f = row.number("exact_frequency_hz");
        CHECK(decibels_from_power(a_weighting_power(f)) ==
              Approx(row.number("a_formula_at_exact_db")).margin(0.001));
        CHECK(decibels_from_power(a_weighting_power(f)) == Approx(row.number("a_table_db")).margin(0.05));
    }
}

TEST_CASE("the 468 curve is that of ITU-R BS.468-4", "[noise_floor]") {
    for (const auto& row : reference::table("weighting_bs468.csv")) {
        const double f = row.number("frequency_hz");
        CHECK(decibels_from_power(itu468_weighting_power(f)) ==
              Approx(row.number("response_formula_db")).margin(0.001));
        CHECK(decibels_from_power(itu468_weighting_power(f)) ==
              Approx(row.number("response_table_db")).margin(0.06));
    }
}

TEST_CASE("white noise gains what the weightings' noise gains say", "[noise_floor]") {
    // a flat density over 20 Hz to 20 kHz: tests/reference/weighting_noise_gain.csv, tolerance 0.02 dB
    PowerSpectrum flat;
    flat.sample_rate_hz = 48000;
    flat.length = 48000;
    flat.effective_averages = 50;
    flat.noise_bandwidth_hz = 1.5;
    flat.density.assign(24001, 1e-12);
    const auto floor = noise_floor(flat);
    CHECK(floor.unweighted == Approx(1e-12 * 19980).epsilon(1e-6));
    std::size_t checked = 0;
    for (const auto& row : reference::table("weighting_noise_gain.csv")) {
        if (row.text("noise_colour") != "white") continue;
        if (row.text("weighting") == "A") {
            CHECK(decibels_from_power(floor.a_weighted / floor.unweighted) ==
                  Approx(row.number("weighted_minus_unweighted_rms_db")).margin(0.02));
            ++checked;
        }
        if (row.text("weighting") == "BS468_0dB_at_1kHz") {
            CHECK(decibels_from_power(floor.itu468 / floor.unweighted) ==
                  Approx(row.number("weighted_minus_unweighted_rms_db")).margin(0.02));
            ++checked;
        }
    }
    CHECK(checked == 2);
}
