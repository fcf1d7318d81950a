#include "hushtrace/vehicle/engine_orders.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdio>

#include "reference/table.hpp"

using namespace hushtrace;

// tests/reference/standard_conditions.csv: phase frequency = pole pairs times alternator speed / 60, ripple
// six times that.
TEST_CASE("six pulses of the alternator give pole pairs times pulley ratio over ten hertz per rpm",
          "[vehicle]") {
    std::size_t checked = 0;
    for (const auto& row : reference::table("standard_conditions.csv")) {
        double pairs = 0, rpm = 0, ratio = 0;
        if (std::sscanf(row.text("quantity").c_str(), "alternator_ripple_p%lf_%lfrpm_ratio%lf", &pairs, &rpm,
                        &ratio) != 3)
            continue;
        CHECK(rpm * whine_hz_per_rpm(pairs, ratio) == Approx(row.number("value")).epsilon(1e-6));
        ++checked;
    }
    CHECK(checked == 5);
}

// Common practice, no source: four strokes fire each cylinder once in two turns; wasted spark does not change
// that.
TEST_CASE("a four-stroke engine fires half as often a turn as it has cylinders, a two-stroke as often",
          "[vehicle]") {
    CHECK(firing_order(4, 4) == 2.0);
    CHECK(firing_order(3, 4) == 1.5);
    CHECK(firing_order(8, 4) == 4.0);
    CHECK(firing_order(2, 2) == 2.0);
}

TEST_CASE("pulleys that would give a whine constant give it", "[vehicle]") {
    for (double k = 1.2; k < 2.4; k += 0.1) {
        const auto guesses = pulleys_for(k);
        CHECK_FALSE(guesses.empty());
        for (const auto& guess : guesses)
            CHECK(whine_hz_per_rpm(guess.pole_pairs, guess.pulley_ratio) == Approx(k));
    }
    CHECK(pulleys_for(0.3).empty());  // no pulley of usual ratio makes that
}

TEST_CASE("usual pulleys come first, and twelve pulses count half as many pairs", "[vehicle]") {
    const auto guesses = pulleys_for(1.62, 0.05);
    REQUIRE_FALSE(guesses.empty());
    CHECK(guesses.front().pole_pairs == 6);
    CHECK(guesses.front().pulley_ratio == Approx(2.7));
    CHECK(guesses.front().pulley_ratio_sd == Approx(0.0833).margin(0.001));
    CHECK(guesses.front().usual);
    for (std::size_t i = 1; i < guesses.size(); ++i) CHECK((guesses[i - 1].usual || !guesses[i].usual));
    for (const auto& guess : pulleys_for(3.24, 0.02, 2))
        CHECK(2.0 * whine_hz_per_rpm(guess.pole_pairs, guess.pulley_ratio) == Approx(3.24));
    CHECK(pulleys_for(3.24, 0.02, 2).front().pole_pairs == 6);
    CHECK(pulleys_for(0.8).empty());
    CHECK_FALSE(pulleys_for(0.88, 0.03).empty());   // within two standard deviations of five pairs at 1.8
}
