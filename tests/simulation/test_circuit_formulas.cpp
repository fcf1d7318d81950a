#include <catch2/catch.hpp>
#include <regex>

#include "hushtrace/simulation/circuit_formulas.hpp"
#include "scenario_tools.hpp"

using namespace hushtrace::simulated;
using namespace simulation_test;

namespace {

/// The number after `name` in a row's inputs, "a=0.02 m; b=0.03 m".
double input_of(const std::string& inputs, const std::string& name) {
    std::smatch found;
    const bool there = std::regex_search(inputs, found, std::regex("(?:^|[ =;])" + name + "=([-0-9.e]+)"));
    REQUIRE(there);
    return std::stod(found[1]);
}

}  // namespace

TEST_CASE("inductances agree with the published formulas' table", "[simulation]") {
    // inductance.csv: Ott 2009 ch. 2, Paul 2006 ch. 4; seven digits printed.
    int seen = 0;
    for (auto& row : reference_rows("inductance.csv")) {
        const std::string id = row["id"], inputs = row["inputs"];
        INFO(id << " " << inputs);
        if (id == "mutual_wires_over_plane") {
            const double height = input_of(inputs, "h2"), distance = input_of(inputs, "D");
            CHECK(1e9 * mutual_inductance_over_plane(height, height, distance) ==
                  Approx(std::stod(row["output_value"])).epsilon(1e-5));
        } else if (id == "mutual_wire_to_loop") {
            CHECK(1e9 * mutual_inductance_wire_to_loop(input_of(inputs, "a"), input_of(inputs, "b")) ==
                  Approx(std::stod(row["output_value"])).epsilon(1e-5));
        } else if (id == "self_wire_over_plane") {
            CHECK(1e9 * inductance_over_plane(1e-3 * input_of(inputs, "h"), 1e-3 * input_of(inputs, "r")) ==
                  Approx(std::stod(row["output_value"])).epsilon(1e-5));
        } else {
            continue;
        }
        ++seen;
    }
    CHECK(seen >= 12);
}

TEST_CASE("a bridge's lines agree with the theory of rectifiers", "[simulation]") {
    // standard_conditions.csv: six_pulse_harmonic_6..24, percent of the mean.
    int seen = 0;
    for (auto& row : reference_rows("standard_conditions.csv")) {
        const std::string name = row.begin()->second;
        for (int n = 1; n <= 4; ++n) {
            for (auto& [column, cell] : row) {
                if (cell != "six_pulse_harmonic_" + std::to_string(6 * n) + "_peak_re_mean") continue;
                CHECK(100.0 * bridge_line_over_mean(n) == Approx(std::stod(row["value"])).epsilon(1e-6));
                ++seen;
            }
        }
    }
    CHECK(seen == 4);
}

TEST_CASE("ripple against output follows the simulated bridges", "[simulation]") {
    // Trade figures from an idealised bridge with 60 uH and 20 mohm a phase: at 180 Hz nearly flat up to a
    // third of the output, then in proportion; at 500 Hz in proportion from some 10 A. Their two digits stand
    // for 1 dB or so.
    const std::vector<std::array<double, 3>> rows = {{180, 5, 1.5},  {180, 8, 1.7},   {180, 25, 1.7},
                                                     {180, 43, 2.5}, {180, 63, 3.7},  {180, 83, 4.8},
                                                     {500, 8, 0.6},  {500, 21, 1.25}, {500, 58, 3.4}};
    for (const auto& [phase_hz, output_a, ripple_a] : rows) {
        INFO(phase_hz << " Hz, " << output_a << " A");
        CHECK(decibels(alternator_ripple_a(output_a, phase_hz) / ripple_a) == Approx(0).margin(1.0));
    }
    CHECK(alternator_ripple_a(0, 180) == 0);
}

TEST_CASE("a cable's resistance is the handbook's", "[simulation]") {
    // Worked example of the reference: 4 AWG (21.1506 mm2), 5 m one way, 60 C: 4.71647 mohm.
    CHECK(1e3 * wire_resistance_ohm(5, 21.1506, 60, false) == Approx(4.71647).epsilon(1e-5));
    CHECK(wire_resistance_ohm(5, 21.1506, 60, true) / wire_resistance_ohm(5, 21.1506, 60, false) ==
          Approx(1 / 0.629).epsilon(1e-9));  // ASTM B566: 62.9 % IACS
}
