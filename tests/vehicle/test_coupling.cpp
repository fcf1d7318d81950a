#include "hushtrace/vehicle/coupling.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>
#include <regex>
#include <stdexcept>

#include "reference/table.hpp"

using namespace hushtrace;

namespace {

double decibels(double ratio) {
    return 20.0 * std::log10(ratio);
}

/// A number of a reference row's inputs: "h1=h2=0.01 m; D=0.05 m" has D.
double input(const reference::Row& row, const std::string& name) {
    std::smatch found;
    const std::string text = row.text("inputs");
    if (!std::regex_search(text, found, std::regex("(^|[ ;=])" + name + "=([a-z0-9]+=)?([0-9.e-]+)")))
        throw std::runtime_error(name + " isn't in " + text);
    return std::stod(found[3]);
}

}  // namespace

TEST_CASE("mutual inductance and inductance are those of the published table", "[coupling]") {
    // tests/reference/inductance.csv: Paul 2006 ch. 4 and Ott 2009 ch. 2; the seventh figure printed
    std::size_t planes = 0, loops = 0, own = 0;
    for (const auto& row : reference::table("inductance.csv")) {
        const double expected = row.text("output_value").empty() ? 0.0 : row.number("output_value");
        if (row.text("id") == "mutual_wires_over_plane" && row.text("inputs").starts_with("h1=h2")) {
            CHECK(1e9 * mutual_over_plane_h_per_m(input(row, "h2"), input(row, "h2"), input(row, "D")) == Approx(expected).epsilon(1e-6));
            ++planes;
        } else if (row.text("id") == "mutual_wire_to_loop") {
            CHECK(1e9 * mutual_to_narrow_loop_h_per_m(input(row, "a"), input(row, "b")) == Approx(expected).epsilon(1e-6));
            ++loops;
        } else if (row.text("id") == "self_wire_over_plane") {
            CHECK(1e9 * inductance_over_plane_h_per_m(0.01, 0.0025947) == Approx(expected).epsilon(1e-5));
            ++own;
        }
    }
    CHECK(planes >= 5);
    CHECK(loops >= 4);
    CHECK(own >= 1);
}

TEST_CASE("a second-order filter falls 12 dB an octave, and rises where nothing damps it", "[coupling]") {
    SupplyFilter filter;
    CHECK(filter.corner_hz() == Approx(107.3).margin(0.1));  // 1/(2 pi sqrt(1 mH 2200 uF)), by hand
    filter.coil_ohm = filter.capacitor_ohm = 0;
    filter.load_ohm = std::sqrt(0.5 * filter.coil_h / filter.capacitor_f);  // Butterworth: Q = R sqrt(C/L) = 1/sqrt 2, -3.01 dB at the corner
    CHECK(decibels(supply_filter_ratio(filter, filter.corner_hz())) == Approx(-3.0103).margin(0.001));
    CHECK(decibels(supply_filter_ratio(filter, 10 * filter.corner_hz())) == Approx(-40.0).margin(0.01));
    filter.load_ohm = 8;
    CHECK(supply_filter_ratio(filter, filter.corner_hz()) == Approx(8 * std::sqrt(filter.capacitor_f / filter.coil_h)));  // Q
}

TEST_CASE("a clip-on core does nothing to a ground loop at audio frequencies", "[coupling]") {
    // 1 uH at 1 kHz: 2 pi f L = 6.28 milliohm, across 0.2 ohm: sqrt(1 + 0.0314^2)
    CHECK(decibels(ferrite_ratio(0.2, 0, 1e-6, 1000)) == Approx(-0.0043).margin(0.0005));
    CHECK(decibels(ferrite_ratio(0.01, 0, 1e-6, 10000)) < -15);
}

TEST_CASE("a coil in the amplifier's feed can tune it as well as choke it", "[coupling]") {
    // 6 mF resonate with 20 uH at 459 Hz; there only the resistance is left
    CHECK(added_coil_ratio(0.03, 0, 6e-3, 20e-6, 459.44) ==
          Approx(std::hypot(0.03, 1.0 / (2 * std::numbers::pi * 459.44 * 6e-3)) / 0.03).epsilon(1e-3));
    CHECK(added_coil_ratio(0.03, 2e-6, 6e-3, 20e-6, 3000) < 0.15);
    CHECK(added_coil_ratio(0.03, 2e-6, 6e-3, 0, 800) == Approx(1.0));
}

TEST_CASE("an isolating transformer opens the shield and costs bass", "[coupling]") {
    // 100 pF into 150 ohm at 1 kHz: 2 pi f C R = 9.42e-5, -80.5 dB, where half of the difference stood before
    CHECK(decibels(isolator_ratio(100e-12, 150, 0.5, 1000)) == Approx(-80.52 + 6.02).margin(0.02));
    // at the corner R/(2 pi L) 3 dB are gone: 1 kOhm beside 1 kOhm is 500 ohm, over 1 H: 79.6 Hz
    CHECK(transformer_bass_db(79.577, 1000, 1000, 1) == Approx(-3.0103).margin(0.001));
    CHECK(transformer_bass_db(20, 450, 15000, 2) < -5);
    CHECK(transformer_bass_db(1000, 450, 15000, 2) > -0.01);
}

TEST_CASE("a simple differential input rejects what its source's unbalance leaves it", "[coupling]") {
    CHECK(decibels(differential_residue(200, 19800)) == Approx(-40.0));
    CHECK(differential_residue(0, 1e4) == 0.0);
}

TEST_CASE("a shield keeps its loop's voltage below its cutoff alone", "[coupling]") {
    // Ott 2009 ch. 2: R/(2 pi L) = 15 mohm / 1 uH: 2387 Hz; there the loop's current has fallen by 3 dB
    CHECK(decibels(shield_share(0.015, 0.015, 1e-6, 2387.324)) == Approx(-3.0103).margin(0.001));
    CHECK(shield_share(0.1, 0.15, 0, 1000) == Approx(2.0 / 3.0));  // 67 % with 0.05 ohm beside it
}

TEST_CASE("lengths and frequencies that can't be are refused", "[coupling]") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(mutual_over_plane_h_per_m(0, 0.01, 0.01), std::invalid_argument);
    CHECK_THROWS_AS(mutual_over_plane_h_per_m(0.01, 0.01, nan), std::invalid_argument);
    CHECK_THROWS_AS(mutual_to_narrow_loop_h_per_m(0.02, 0.01), std::invalid_argument);
    CHECK_THROWS_AS(supply_filter_ratio({}, 0), std::invalid_argument);
    CHECK_THROWS_AS(shield_share(0.2, 0.1, 0, 100), std::invalid_argument);
    CHECK_THROWS_AS(isolator_ratio(1e-10, 150, 0, 1000), std::invalid_argument);
}
