#include "hushtrace/vehicle/supply_wiring.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <set>
#include <stdexcept>
#include <string>
#include <utility>

#include "reference/table.hpp"

using namespace hushtrace;

TEST_CASE("gauge areas and resistances are the handbook's", "[supply]") {
    // tests/reference/copper_cable.csv: ASTM B258 areas; NBS Handbook 100 resistances at 20 C, in ohm per km, four digits or two decimals
    std::size_t rows = 0;
    for (const auto& row : reference::table("copper_cable.csv")) {
        const int awg = static_cast<int>(row.number("awg_number"));
        CHECK(gauge_area_mm2(awg) == Approx(row.number("area_mm2")).epsilon(1e-5));
        CHECK(1e3 * cable_ohm_per_m(gauge_area_mm2(awg), Conductor::copper, 20) ==
              Approx(row.number("resistance_20c_table_ohm_per_km")).epsilon(5e-4));
        // NEC chapter 9 table 8, 75 C, stranded: strands run 1.8 to 2.6 % longer
        if (!row.text("nec_table8_stranded_75c_ohm_per_km").empty()) {
            const double ratio =
                row.number("nec_table8_stranded_75c_ohm_per_km") / (1e3 * cable_ohm_per_m(gauge_area_mm2(awg), Conductor::copper, 75));
            CHECK(ratio > 1.015);
            CHECK(ratio < 1.03);
        }
        CHECK(nearest_gauge(gauge_area_mm2(awg)) == awg);
        ++rows;
    }
    CHECK(rows >= 25);
    CHECK(gauge_name(4) == "4 AWG");
    CHECK(gauge_name(0) == "1/0 AWG");
    CHECK(gauge_name(-3) == "4/0 AWG");
    CHECK_FALSE(nearest_gauge(500.0));
}

TEST_CASE("a metric cable's nominal resistance is that of its area", "[supply]") {
    // tests/reference/copper_cable_metric.csv: the maxima of ISO 6722-1 (from memory) lie 5 to 15 % above it
    std::size_t rows = 0;
    for (const auto& row : reference::table("copper_cable_metric.csv")) {
        const double nominal = 1e3 * cable_ohm_per_m(row.number("nominal_area_mm2"), Conductor::copper, 20);
        CHECK(nominal == Approx(row.number("nominal_area_resistance_20c_computed_mohm_per_m")).epsilon(1e-4));
        ++rows;
    }
    CHECK(rows >= 20);
}

TEST_CASE("the worked example of a supply run comes out", "[supply]") {
    // tests/reference/copper_cable_voltage_drop_example.csv: 4 AWG, 5 m, 60 A, 60 C
    std::map<std::string, double> example;
    for (const auto& row : reference::table("copper_cable_voltage_drop_example.csv")) example[row.text("symbol")] = row.number("value");
    const double per_m = cable_ohm_per_m(gauge_area_mm2(4), Conductor::copper, 60);
    CHECK(1e3 * per_m == Approx(example.at("r60")).epsilon(1e-5));
    CHECK(60 * 5 * per_m == Approx(example.at("dU")).epsilon(1e-5));
    CHECK(area_for_drop_mm2(5, 60, 0.25, Conductor::copper, 60) == Approx(example.at("Amin")).epsilon(1e-5));
}

TEST_CASE("copper-clad aluminium has the resistivity of ASTM B566", "[supply]") {
    // tests/reference/copper_cable_materials.csv; the class 10A figure is from memory and doubtful in its last digits
    for (const auto& row : reference::table("copper_cable_materials.csv"))
        if (row.text("material") == "copper_clad_aluminium_10_percent")
            CHECK(resistivity_ohm_m(Conductor::copper_clad_aluminium, 20) == Approx(row.number("resistivity_20c_ohm_m")).epsilon(0.01));
    CHECK(resistivity_ohm_m(Conductor::copper_clad_aluminium, 20) / resistivity_ohm_m(Conductor::copper, 20) == Approx(1.0 / 0.63).epsilon(0.02));
}

TEST_CASE("every standard fuse size is known, and the smallest not below the draw is taken", "[supply]") {
    // tests/reference/fuses.csv: ISO 8820-3, -4, -5; bolt-down kinds: common practice, no source
    std::set<double> table;
    for (const auto& row : reference::table("fuses.csv")) table.insert(row.number("rating_a"));
    const auto ratings = fuse_ratings_a();
    CHECK(std::vector<double>(table.begin(), table.end()) == std::vector<double>(ratings.begin(), ratings.end()));
    CHECK(fuse_for(30.0 + 50.0) == 80.0);  // common practice, no source
    CHECK(fuse_for(142.0) == 150.0);       // common practice, no source
    CHECK(fuse_for(80.01) == 100.0);
    CHECK(fuse_for(500.0) == 500.0);
    CHECK_FALSE(fuse_for(500.1));
}

TEST_CASE("what a cable may stand behind is the table's row, never more", "[supply]") {
    // common practice, no source: 10 AWG 30 A, 8 AWG 55 A, 6 AWG 80 A, 4 AWG 135 A, 2 AWG 215 A, 1/0 AWG 345 A
    CHECK(largest_fuse(gauge_area_mm2(4), Conductor::copper)->fuse_a == 135);
    CHECK(largest_fuse(21.2, Conductor::copper)->fuse_a == 135);
    CHECK_FALSE(largest_fuse(21.2, Conductor::copper)->between_rows);
    const auto metric = largest_fuse(25.0, Conductor::copper);
    CHECK(metric->fuse_a == 135);
    CHECK(metric->between_rows);
    // a cable thinner than its row's area by more than rounding goes by the thinner row, and says so
    for (const double thin : {20.0, 18.7, 20.8}) {
        CHECK(largest_fuse(thin, Conductor::copper)->fuse_a == 80);
        CHECK(largest_fuse(thin, Conductor::copper)->between_rows);
    }
    CHECK(largest_fuse(50.0, Conductor::copper)->fuse_a == 215);
    const std::pair<double, double> as_printed[] = {{5.3, 30}, {8.37, 55}, {8.4, 55}, {13.3, 80}, {21.0, 135}, {33.6, 215}, {53.5, 345}, {53.0, 345}};
    for (const auto& [area_mm2, fuse_a] : as_printed) {
        CHECK(largest_fuse(area_mm2, Conductor::copper)->fuse_a == fuse_a);
        CHECK_FALSE(largest_fuse(area_mm2, Conductor::copper)->between_rows);
    }
    CHECK(largest_fuse(16.0, Conductor::copper)->fuse_a == 80);
    CHECK_FALSE(largest_fuse(2.5, Conductor::copper));
    CHECK(largest_fuse(107.0, Conductor::copper)->fuse_a == 345);
    CHECK(largest_fuse(107.0, Conductor::copper)->between_rows);
    // sqrt(0.63) = 0.794: the same heat in the same insulation
    CHECK(largest_fuse(21.2, Conductor::copper_clad_aluminium)->fuse_a == Approx(135 * 0.7937).epsilon(1e-3));
    CHECK(area_for_fuse_mm2(80, Conductor::copper) == Approx(13.3018).epsilon(1e-5));
    CHECK(area_for_fuse_mm2(81, Conductor::copper) == Approx(21.1506).epsilon(1e-5));
    CHECK_FALSE(area_for_fuse_mm2(400, Conductor::copper));
}

TEST_CASE("what an amplifier of so many watts draws", "[supply]") {
    // common practice, no source: half becomes sound, at 14 V of a 12 V supply: 2 x 500 / 14 = 71.43 A, and half of it at twice the voltage
    CHECK(draw_of_power_a(500, 12) == Approx(71.4286).epsilon(1e-5));
    CHECK(draw_of_power_a(500, 24) == Approx(35.7143).epsilon(1e-5));
    CHECK_THROWS_AS(draw_of_power_a(0, 12), std::invalid_argument);
}

TEST_CASE("sizes that can be bought ascend, and are named as they are sold", "[supply]") {
    const auto sizes = cable_sizes();
    CHECK(std::is_sorted(sizes.begin(), sizes.end(), [](auto& a, auto& b) { return a.area_mm2 < b.area_mm2; }));
    for (const CableSize& one : sizes) CHECK(largest_fuse(one.area_mm2, Conductor::copper_clad_aluminium));  // each can be chosen
    CHECK(sizes.front().awg == 10);
    const auto four = std::find_if(sizes.begin(), sizes.end(), [](auto& s) { return s.awg == 4; });
    REQUIRE(four != sizes.end());
    CHECK(four->name() == "4 AWG (21.2 mm2)");
    CHECK(std::any_of(sizes.begin(), sizes.end(), [](auto& s) { return s.name() == "25 mm2"; }));
}

TEST_CASE("lengths, areas and currents that can't be are refused", "[supply]") {
    for (const double bad : {0.0, -1.0, std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
        CHECK_THROWS_AS(cable_ohm_per_m(bad, Conductor::copper, 20), std::invalid_argument);
        CHECK_THROWS_AS(area_for_drop_mm2(bad, 10, 0.5, Conductor::copper, 20), std::invalid_argument);
        CHECK_THROWS_AS(area_for_drop_mm2(5, bad, 0.5, Conductor::copper, 20), std::invalid_argument);
        CHECK_THROWS_AS(fuse_for(bad), std::invalid_argument);
        CHECK_THROWS_AS(largest_fuse(bad, Conductor::copper), std::invalid_argument);
    }
    CHECK_THROWS_AS(resistivity_ohm_m(Conductor::copper, 5000), std::invalid_argument);
    CHECK_NOTHROW(resistivity_ohm_m(Conductor::copper, kLeastCable_c));
    CHECK_NOTHROW(resistivity_ohm_m(Conductor::copper, kMostCable_c));
}
