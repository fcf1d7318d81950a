#include "../../../src/diagnose/takes/motor_turns.hpp"

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
        CHECK_FALSE(
            has_turns_of_no_alternator(turning_with(150.0, followed, {{1, 2.0}, {2, 0.8}, {5, 0.1}, {6, 1.0}, {7, 0.1}, {12, 0.1}}), std::nullopt));
    // twelve bars, whose turns no low order explains; and a side line that was followed
    CHECK(has_turns_of_no_alternator(turning_with(101.5, 12, {{11, 0.02}, {12, 1.0}, {13, 0.02}, {24, 0.05}}), std::nullopt));
    CHECK(has_turns_of_no_alternator(turning_with(94.0, 13, {{10, 0.04}, {11, 1.0}, {12, 0.02}, {13, 0.1}, {22, 0.04}}), std::nullopt));
    // an engine's clicks turn with its whine: whose lines those are is known
    const MovingFamily clicks = turning_with(34.7, 9, {{7, 0.1}, {8, 0.1}, {9, 1.0}, {10, 0.1}, {11, 0.1}});
    CHECK(has_turns_of_no_alternator(clicks, std::nullopt));
    CHECK_FALSE(has_turns_of_no_alternator(clicks, 34.7));
    CHECK_FALSE(has_turns(clicks, 34.7));
    // firings stand in combs about a whine: the third of them, an eleventh off, is no turn of eleven bars
    CHECK_FALSE(has_turns_of_no_alternator(turning_with(41.1, 33, {{30, 0.01}, {31, 0.03}, {32, 0.1}, {33, 1.0}, {34, 0.1}, {35, 0.03}, {36, 0.01}}),
                                           std::nullopt));
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

TEST_CASE("a motor's turns are lines at them, and at one or two of them off the bars", "[motor]") {
    using Lines = std::vector<std::pair<double, double>>;
    struct Case {
        const char* what;
        double shaft_hz;
        int followed;
        Lines lines;
        bool turns;
    };
    const double much = 0.1;
    const Case cases[] = {
        {"both neighbours", 126, 9, {{8, much}, {9, 1}, {10, much}}, true},
        {"one, and the shaft itself", 126, 9, {{1, much}, {8, much}, {9, 1}}, true},
        {"one, and the second below", 126, 9, {{7, much}, {8, much}, {9, 1}}, true},
        {"one, and the second above", 126, 9, {{9, 1}, {10, much}, {11, much}}, true},
        {"one above, and the second below", 126, 9, {{7, much}, {9, 1}, {10, much}}, true},
        {"one, and the third", 126, 9, {{6, much}, {8, much}, {9, 1}}, false},
        {"one, and twice the shaft", 126, 9, {{2, much}, {8, much}, {9, 1}}, false},
        {"one", 126, 9, {{8, much}, {9, 1}}, false},
        {"no neighbour", 126, 9, {{1, much}, {7, much}, {9, 1}, {11, much}}, false},
        {"no line that was followed", 126, 9, {{8, much}, {10, much}}, false},
        {"26 dB below", 126, 9, {{8, 0.0026}, {9, 1}, {10, 0.0026}}, true},
        {"and more", 126, 9, {{8, 0.0026}, {9, 1}, {10, 0.0024}}, false},
        {"near the turns", 126, 9, {{8 + 9 * 0.0014, much}, {9, 1}, {10 - 9 * 0.0014, much}}, true},
        {"not near enough", 126, 9, {{8 + 9 * 0.0014, much}, {9, 1}, {10 - 9 * 0.0016, much}}, false},
        {"a stronger line nearer", 126, 9, {{8, much}, {9, 1}, {9.7, 0.11}, {10, 0.05}}, false},
        {"a weaker line nearer", 126, 9, {{8, much}, {9, 1}, {9.7, 0.09}, {10, 0.05}}, true},
        {"a stronger line nearly as far", 126, 9, {{8, much}, {9, 1}, {9.8, 0.11}, {10, 0.05}}, true},
        {"its own line, read twice", 126, 9, {{8, much}, {9, 1}, {9 + 9 * 0.0013, 0.2}, {10, much}}, true},
        {"a line right beside it", 126, 9, {{8, much}, {9, 1}, {9 + 9 * 0.0017, 0.2}, {10, much}}, false},
        {"no shaft so slow", 19.9, 9, {{8, much}, {9, 1}, {10, much}}, false},
        {"a slow one", 20.1, 9, {{8, much}, {9, 1}, {10, much}}, true},
        {"a fast one", 199.9, 9, {{8, much}, {9, 1}, {10, much}}, true},
        {"no shaft so fast", 200.1, 9, {{8, much}, {9, 1}, {10, much}}, false},
        {"five bars", 126, 5, {{4, much}, {5, 1}, {6, much}}, true},
        {"four bars", 126, 4, {{3, much}, {4, 1}, {5, much}}, false},
        {"24 bars", 60, 24, {{23, much}, {24, 1}, {25, much}}, true},
        {"25 bars", 60, 25, {{24, much}, {25, 1}, {26, much}}, false},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        CHECK(has_turns(turning_with(one.shaft_hz, one.followed, one.lines), std::nullopt) == one.turns);
    }
    CHECK_FALSE(has_turns({}, std::nullopt));
    // lines at multiples of the clicks are theirs, within 3 % of their rate; that which was followed stays, and what lies far below them
    const MovingFamily nine = turning_with(126, 9, {{8, much}, {9, 1}, {10, much}});
    CHECK_FALSE(has_turns(nine, 126.0));
    CHECK_FALSE(has_turns(nine, 126 * 8 / 8.02));
    CHECK(has_turns(nine, 126 * 8 / 8.04));
    CHECK(has_turns(nine, 126.0 * 9 / 30));
    const MovingFamily shaft = turning_with(126, 9, {{1, much}, {8, much}, {9, 1}});
    CHECK(has_turns(shaft, 5000.0));
    CHECK_FALSE(has_turns(shaft, 126.0 / 1.02));
}

TEST_CASE("what an alternator could make as well is no proof of a motor", "[motor]") {
    using Lines = std::vector<std::pair<double, double>>;
    struct Case {
        const char* what;
        int followed;
        Lines lines;
        bool a_motor;
    };
    const Case cases[] = {
        {"nine bars", 9, {{8, 0.1}, {9, 1}, {10, 0.1}}, true},
        {"half as strong a line", 9, {{8, 0.1}, {9, 1}, {10, 0.1}, {27, 0.49}}, true},
        {"more than half", 9, {{8, 0.1}, {9, 1}, {10, 0.1}, {27, 0.51}}, false},
        {"half as strong a neighbour", 9, {{8, 0.1}, {9, 1}, {10, 0.51}}, false},
        {"its own line, read twice", 9, {{8, 0.1}, {9, 1}, {9 + 9 * 0.0013, 0.9}, {10, 0.1}}, true},
        {"strictly near", 9, {{8 + 9 * 0.0004, 0.1}, {9, 1}, {10, 0.1}}, true},
        {"not strictly", 9, {{8 + 9 * 0.0006, 0.1}, {9, 1}, {10, 0.1}}, false},
        {"twelve bars", 12, {{11, 0.1}, {12, 1}, {13, 0.1}}, true},
        {"thirteen bars", 13, {{12, 0.1}, {13, 1}, {14, 0.1}}, false},
        {"five bars", 5, {{4, 0.1}, {5, 1}, {6, 0.1}}, true},
        {"four bars", 4, {{3, 0.1}, {4, 1}, {5, 0.1}}, false},
        // a stator's own frequency is the sixth of its lead
        {"the first sixth stands over the neighbours", 12, {{2, 0.2}, {11, 0.1}, {12, 1}, {13, 0.1}}, false},
        {"the second", 12, {{4, 0.2}, {11, 0.1}, {12, 1}, {13, 0.1}}, false},
        {"the third", 12, {{6, 0.2}, {11, 0.1}, {12, 1}, {13, 0.1}}, false},
        {"the fourth says nothing", 12, {{8, 0.2}, {11, 0.1}, {12, 1}, {13, 0.1}}, true},
        {"one of two stands over them", 12, {{2, 0.2}, {4, 0.05}, {11, 0.1}, {12, 1}, {13, 0.1}}, false},
        {"the neighbours stand over it", 12, {{2, 0.09}, {11, 0.1}, {12, 1}, {13, 0.1}}, true},
        {"the lower neighbour stands over it", 12, {{2, 0.09}, {11, 0.1}, {12, 1}, {13, 0.05}}, true},
        {"the upper neighbour stands over it", 12, {{2, 0.09}, {11, 0.05}, {12, 1}, {13, 0.1}}, true},
        {"bars of no sixths", 10, {{10.0 / 6, 0.2}, {9, 0.1}, {10, 1}, {11, 0.1}}, true},
        {"nothing", 9, {}, false},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        CHECK(has_turns_of_no_alternator(turning_with(126, one.followed, one.lines), std::nullopt) == one.a_motor);
    }
    // the strongest line leads, whichever was followed: nine bars of a slow shaft, and one of a shaft that is none
    CHECK(has_turns_of_no_alternator(turning_with(21, 8, {{8, 0.1}, {9, 1}, {10, 0.1}}), std::nullopt));
    CHECK_FALSE(has_turns_of_no_alternator(turning_with(19, 8, {{8, 0.1}, {9, 1}, {10, 0.1}}), std::nullopt));
}

TEST_CASE("a side line's shaft is the one of which most lines are whole multiples", "[motor]") {
    using Lines = std::vector<std::pair<double, double>>;
    struct Case {
        const char* what;
        double followed_hz;
        int followed;
        Lines lines;
        int turns;
    };
    const Case cases[] = {
        {"two lines", 810, 9, {{8, 1}, {9, 1}, {10, 1}}, 9},
        {"one", 810, 9, {{8, 1}, {9, 1}}, 0},
        {"one, and multiples", 810, 9, {{8, 1}, {9, 1}, {18, 1}, {27, 1}}, 0},
        {"one, and multiples read a little off", 810, 9, {{8, 1}, {9, 1}, {18 + 9 * 0.0013, 1}}, 0},
        {"one, and the shaft", 810, 9, {{1, 1}, {8, 1}, {9, 1}}, 9},
        {"one, and the 48th turn", 810, 9, {{8, 1}, {9, 1}, {47, 1}}, 9},
        {"and beyond", 810, 9, {{8, 1}, {9, 1}, {49, 1}}, 0},
        {"near enough", 810, 9, {{8 + 9 * 0.0014, 1}, {9, 1}, {10, 1}}, 9},
        {"too far", 810, 9, {{8 + 9 * 0.0016, 1}, {9, 1}, {10, 1}}, 0},
        {"the least number", 240, 8, {{6, 1}, {8, 1}, {10, 1}}, 4},
        {"no shaft so fast", 1000, 8, {{6, 1}, {8, 1}, {10, 1}}, 8},
        {"two turns", 200, 2, {{2, 1}, {3, 1}, {5, 1}}, 2},
        {"27 turns", 810, 27, {{20, 1}, {27, 1}, {34, 1}}, 27},
        {"28 turns", 840, 28, {{23, 1}, {28, 1}, {33, 1}}, 0},
        {"of two shafts that with more lines", 810, 10, {{8, 1}, {9, 1}, {10, 1}, {12, 1}}, 10},   // of five, 4 and 6
        {"nothing", 810, 9, {}, 0},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        CHECK(turns_of_side_line(turning_with(one.followed_hz / one.followed, one.followed, one.lines)) == one.turns);
    }
}

TEST_CASE("the line at the bars is the clearly strongest up to three turns off", "[motor]") {
    using Lines = std::vector<std::pair<double, double>>;
    struct Case {
        const char* what;
        Lines lines;   // in turns, of which the ninth was followed
        double at;
    };
    const Case cases[] = {
        {"twice as strong", {{8, 2.1}, {9, 1}, {10, 0.05}}, 8},
        {"not quite", {{8, 1.9}, {9, 1}, {10, 0.05}}, 9},
        {"the stronger of two, below", {{8, 3}, {9, 1}, {10, 2.5}}, 8},
        {"the stronger of two, above", {{8, 2.5}, {9, 1}, {10, 3}}, 10},
        {"three turns off", {{6, 3}, {8, 0.1}, {9, 1}}, 6},
        {"four turns off", {{5, 3}, {8, 0.1}, {9, 1}}, 9},
        {"three turns above", {{8, 0.1}, {9, 1}, {12, 3}}, 12},
        {"four turns above", {{8, 0.1}, {9, 1}, {13, 3}}, 9},
        {"between two turns", {{7, 0.1}, {8, 0.1}, {8.3, 3}, {9, 1}}, 9},
        {"no shaft", {{8, 3}, {9, 1}}, 9},
        {"half of it, stronger", {{4.5, 1.1}, {9, 1}}, 4.5},
        {"half of it, weaker", {{4.5, 0.9}, {9, 1}}, 9},
        {"a third of it, stronger", {{3, 1.1}, {9, 1}}, 3},
        {"a quarter of it, stronger", {{2.25, 1.1}, {9, 1}}, 9},
        {"half of what isn't there", {{4.5, 1.1}}, 9},
        {"the stronger of its own line's readings", {{8, 2.5}, {9, 1}, {9 + 9 * 0.0013, 1.3}, {10, 0.05}}, 9},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        CHECK(bars_over_followed(turning_with(91.8, 9, one.lines)) == Approx(one.at / 9));
    }
}
