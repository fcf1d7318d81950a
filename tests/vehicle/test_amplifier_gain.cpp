#include <catch2/catch.hpp>
#include <array>
#include <cmath>
#include <limits>

#include "hushtrace/vehicle/amplifier_gain.hpp"
#include "reference/table.hpp"

using namespace hushtrace;

TEST_CASE("a sine cut off by its rails has the published series' distortion, fundamental and power", "[amplifier_gain]") {
    // clipped_sine.csv: Fourier series of the symmetrically clipped sine; rms against the ceiling, so power against the
    // largest uncut sine is twice its square.
    int rows = 0;
    for (const reference::Row& row : reference::table("clipped_sine.csv")) {
        CAPTURE(row.text("case"));
        const bool square = row.text("drive_over_ceiling_db") == "inf";
        const ClippedSine cut = clip_sine(square ? INFINITY : row.number("drive_over_ceiling_db"));
        // the table's drives have six decimals, which at the mildest case is half a per mille of its distortion
        CHECK(100 * cut.thd_ratio == Approx(row.number("thd_all_percent")).epsilon(0.0005));
        CHECK(cut.fundamental_db == Approx(row.number("fundamental_re_ceiling_db")).margin(0.00001));
        CHECK(cut.power_ratio == Approx(2 * std::pow(row.number("rms_re_ceiling"), 2)).epsilon(0.00001));
        ++rows;
    }
    CHECK(rows > 10);
    for (const double uncut_db : {0.0, -3.0, -std::numeric_limits<double>::infinity()}) {
        CHECK(clip_sine(uncut_db).thd_ratio == 0.0);
        CHECK(clip_sine(uncut_db).power_ratio == 1.0);
    }
}

TEST_CASE("each dial's law puts its ends at its ends and its middle where the law says", "[amplifier_gain]") {
    const double most_v = 0.2, least_v = 5.0;
    for (const DialLaw law : {DialLaw::logarithmic, DialLaw::linear, DialLaw::linear_volts}) {
        CHECK(*dial_travel(law, most_v, least_v, least_v) == Approx(0.0).margin(1e-12));
        CHECK(*dial_travel(law, most_v, least_v, most_v) == Approx(1.0));
        CHECK(*dial_travel(law, most_v, least_v, 0.1) > 1.0);
        CHECK(*dial_travel(law, most_v, least_v, 6.0) < 0.0);
    }
    // by definition of each mean: geometric, harmonic (gains add), arithmetic
    CHECK(*dial_travel(DialLaw::logarithmic, most_v, least_v, 1.0) == Approx(0.5));
    CHECK(*dial_travel(DialLaw::linear, most_v, least_v, 2 / (1 / most_v + 1 / least_v)) == Approx(0.5));
    CHECK(*dial_travel(DialLaw::linear_volts, most_v, least_v, 2.6) == Approx(0.5));
    for (const auto [low, high, at] : {std::array{5.0, 0.2, 1.0}, {0.0, 5.0, 1.0}, {0.2, 5.0, 0.0}, {1.0, 1.0, 1.0}, {0.2, 5.0, double(NAN)}})
        CHECK_FALSE(dial_travel(DialLaw::logarithmic, low, high, at));
}

TEST_CASE("a dial of 300 degrees runs from 7 to 5 o'clock", "[amplifier_gain]") {
    CHECK(dial_clock_hours(0.0, 300) == Approx(7));
    CHECK(dial_clock_hours(0.5, 300) == Approx(12));
    CHECK(dial_clock_hours(1.0, 300) == Approx(5));
    CHECK(dial_clock_hours(0.25, 300) == Approx(9.5));
    CHECK(dial_clock_hours(1.0, 270) == Approx(4.5));
}
