#include "../../src/diagnose/motor_turns.hpp"

#include <catch2/catch.hpp>
#include <vector>

using namespace hushtrace;

namespace {

/// Lines at these multiples of a shaft, followed at one of them.
MovingFamily turning_with(double shaft_hz, int followed, const std::vector<std::pair<double, double>>& numbers_and_powers) {
    MovingFamily family;
    family.mean_hz = followed * shaft_hz;
    family.wander = 0.005;
    for (const auto& [number, power] : numbers_and_powers) {
        OrderLine line;
        line.ratio = number / followed;
        line.mean_square = {power, 0.3 * power};
        family.lines.push_back(line);
    }
    return family;
}

}  // namespace

TEST_CASE("a motor's turns beside its bars tell it from an alternator", "[motor]") {
    const MovingFamily nine = turning_with(126.1, 9, {{8, 0.05}, {9, 1.0}, {10, 0.05}, {18, 0.1}});
    CHECK(has_turns(nine, std::nullopt));
    CHECK(has_turns_of_no_alternator(nine, std::nullopt));
    CHECK(bars_over_followed(nine) == 1.0);
    // a stator's own frequency with an open diode: whichever of its lines was followed
    for (const int followed : {5, 6, 7})
        CHECK_FALSE(has_turns_of_no_alternator(turning_with(150.0, followed, {{1, 2.0}, {2, 0.8}, {5, 0.1}, {6, 1.0}, {7, 0.1}, {12, 0.1}}), std::nullopt));
    // twelve bars, whose turns no low order explains; and a side line that was followed
    CHECK(has_turns_of_no_alternator(turning_with(101.5, 12, {{11, 0.02}, {12, 1.0}, {13, 0.02}, {24, 0.05}}), std::nullopt));
    CHECK(has_turns_of_no_alternator(turning_with(94.0, 13, {{10, 0.04}, {11, 1.0}, {12, 0.02}, {13, 0.1}, {22, 0.04}}), std::nullopt));
    // an engine's clicks turn with its whine: whose lines those are is known
    const MovingFamily clicks = turning_with(34.7, 9, {{7, 0.1}, {8, 0.1}, {9, 1.0}, {10, 0.1}, {11, 0.1}});
    CHECK(has_turns_of_no_alternator(clicks, std::nullopt));
    CHECK_FALSE(has_turns_of_no_alternator(clicks, 34.7));
    CHECK_FALSE(has_turns(clicks, 34.7));
    // firings stand in combs about a whine: the third of them, an eleventh off, is no turn of eleven bars
    CHECK_FALSE(has_turns_of_no_alternator(turning_with(41.1, 33, {{30, 0.01}, {31, 0.03}, {32, 0.1}, {33, 1.0}, {34, 0.1}, {35, 0.03}, {36, 0.01}}), std::nullopt));
    CHECK_FALSE(has_turns_of_no_alternator(turning_with(123.4, 11, {{10, 1e-4}, {11, 1.0}, {12, 1e-4}}), std::nullopt));
    // what chops the field stands as far on either side, wherever that falls
    CHECK_FALSE(has_turns_of_no_alternator(turning_with(128.8, 9, {{7, 0.02}, {9, 1.0}, {11, 0.02}, {18, 0.05}}), std::nullopt));
    // firings beside whine come 18 times as slowly and more
    CHECK_FALSE(has_turns_of_no_alternator(turning_with(60.0, 18, {{17, 0.1}, {18, 1.0}, {19, 0.1}}), std::nullopt));
    // two lines that are no turns
    CHECK_FALSE(has_turns_of_no_alternator(turning_with(126.1, 9, {{8.03, 0.05}, {9, 1.0}, {9.97, 0.05}}), std::nullopt));
    CHECK_FALSE(has_turns(turning_with(126.1, 9, {{9, 1.0}, {18, 0.2}, {27, 0.1}}), std::nullopt));
}

TEST_CASE("a side line that was followed knows its shaft, and the line at the bars", "[motor]") {
    const MovingFamily side = turning_with(91.8, 9, {{8, 1.0}, {9, 0.1}, {10, 0.05}, {16, 0.2}});
    CHECK(turns_of_side_line(side) == 9);
    CHECK(bars_over_followed(side) == Approx(8.0 / 9.0));
    CHECK(bars_over_followed(turning_with(96.9, 18, {{9, 1.0}, {18, 0.3}})) == Approx(0.5));
    CHECK(bars_over_followed(turning_with(96.9, 18, {{9, 0.2}, {18, 0.3}})) == 1.0);
    CHECK(turns_of_side_line(turning_with(91.8, 10, {{9, 0.9}, {10, 1.0}, {16, 0.9}})) == 10);
    // multiples of the followed line itself fit any shaft, and say nothing
    CHECK(turns_of_side_line(turning_with(91.8, 9, {{9, 1.0}, {18, 0.2}, {27, 0.1}})) == 0);
    // no shaft turns so slowly, nor so fast
    CHECK(turns_of_side_line(turning_with(4.0, 9, {{8, 1.0}, {9, 0.1}, {10, 0.05}})) == 0);
}
