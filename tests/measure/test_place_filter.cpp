#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "../../src/measure/place_filter.hpp"

using namespace hushtrace;

TEST_CASE("a line that may be at any of a few places comes and goes by Bayes' rule", "[place_filter]") {
    // Thirteen places round 1000 Hz, all near by: of "there" and "not there" alone, half and half at first, each changing with
    // 0.4 % a hop; a spectrum that says e^x for each place makes odds of e^x.
    PlaceFilter filter(1000.0 * std::exp(-0.006), 1000.0 * std::exp(0.006) * 0.99999, 1000.0, 0.001, 0);
    REQUIRE(filter.places() == 13);
    CHECK(filter.place_hz(0) == Approx(1000.0 * std::exp(-0.006)));
    CHECK(filter.place_hz(12) == Approx(1000.0 * std::exp(0.006)));
    double there = 0.5;
    for (const double says : {1.0, -0.5, 0.0, 2.5, -4.0, -1.0}) {
        filter.update(std::vector<double>(13, says));
        const double before = 0.996 * there + 0.004 * (1.0 - there);
        there = before * std::exp(says) / (before * std::exp(says) + 1.0 - before);
        CHECK(filter.present() == Approx(there).epsilon(1e-9));
        CHECK(filter.likeliest_hz() == Approx(1000.0).epsilon(1e-6));   // even, so in the middle
        CHECK(filter.slope_places() == 0.0);
    }
}

TEST_CASE("a line is looked for where it was last, four fifths within 3 % of it, for 200 hops", "[place_filter]") {
    // 81 places of a hundredth; far more than the three per cent
    const double low = 1000.0 * std::exp(-0.4), high = 1000.0 * std::exp(0.4) * 0.99999;
    PlaceFilter filter(low, high, 1000.0, 0.01, 0);
    REQUIRE(filter.places() == 81);
    filter.update(std::vector<double>(81, 0.0));
    // 14 places either way hold four fifths of it there and 29/81 of the rest
    CHECK(filter.present() == Approx(0.5 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(1e-3));
    CHECK(filter.likeliest_hz() == Approx(1000.0).epsilon(1e-6));
    PlaceFilter sloping(low, high, 1000.0, 0.01, 2);   // with slopes as well
    sloping.update(std::vector<double>(81, 0.0));
    CHECK(sloping.present() == Approx(0.5 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(0.01));
    CHECK(sloping.slope_places() == Approx(0.0).margin(1e-9));
    sloping.update(std::vector<double>(81, 2000.0));   // however sure
    CHECK(sloping.present() == Approx(0.8 + 0.2 * 29.0 / 81.0).epsilon(0.01));
    // what comes back comes to where it was found last
    const auto after_loss = [&](std::size_t hops, double found_hz) {
        PlaceFilter one(low, high, 1000.0, 0.01, 0);
        one.was_found(found_hz);
        for (std::size_t i = 0; i < hops; ++i) one.update(std::vector<double>(81, -40.0));   // it is nowhere
        one.update(std::vector<double>(81, 0.0));
        return one;
    };
    // of the 0.4 % that come back in a hop, so much within reach of 1221 Hz
    CHECK(after_loss(10, 1000.0 * std::exp(0.2)).likeliest_hz() == Approx(1000.0 * std::exp(0.2)).epsilon(1e-4));
    CHECK(after_loss(10, 1000.0 * std::exp(0.2)).present() == Approx(0.004 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(2e-3));
    CHECK(after_loss(199, 1000.0).present() == Approx(0.004 * (0.8 + 0.2 * 29.0 / 81.0)).epsilon(2e-3));
    CHECK(after_loss(200, 1000.0).present() == Approx(0.004 * (0.4 + 0.6 * 29.0 / 81.0)).epsilon(2e-3));   // then it may be anywhere
}

TEST_CASE("a place strays by one either way, a slope is kept and shifts by one", "[place_filter]") {
    const double low = 1000.0 * std::exp(-0.4), high = 1000.0 * std::exp(0.4) * 0.99999;
    const auto only_at = [](std::size_t place) {
        std::vector<double> odds(81, -60.0);
        odds[place] = 60.0;
        return odds;
    };
    // with no slopes: after one place for sure, three fifths stay and a fifth goes either way
    PlaceFilter still(low, high, 1000.0, 0.01, 0);
    still.update(only_at(40));
    CHECK(still.present() == Approx(1.0));
    std::vector<double> odds(81, -60.0);
    odds[40] = 0.0;
    odds[41] = std::log(4.0);
    still.update(odds);   // 0.6 against 0.2 * 4, the middle 4/7 of a place up
    CHECK(still.likeliest_hz() == Approx(1000.0 * std::exp(0.01 * 4.0 / 7.0)).epsilon(1e-4));
    CHECK(still.present() == Approx(0.996 * 1.4 / (0.996 * 1.4 + 0.004)).epsilon(1e-3));
    odds[41] = -60.0;
    odds[39] = std::log(4.0);
    PlaceFilter down(low, high, 1000.0, 0.01, 0);
    down.update(only_at(40));
    down.update(odds);
    CHECK(down.likeliest_hz() == Approx(1000.0 * std::exp(-0.01 * 4.0 / 7.0)).epsilon(1e-4));
    // what strays beyond an end stays there: 0.8 against 0.2
    PlaceFilter top(low, high, 1490.0, 0.01, 0);
    top.update(only_at(80));
    odds.assign(81, -60.0);
    odds[80] = odds[79] = 0.0;
    top.update(odds);
    CHECK(top.likeliest_hz() == Approx(low * std::exp(0.01 * 79.8)).epsilon(1e-4));
    PlaceFilter bottom(low, high, 671.0, 0.01, 0);
    bottom.update(only_at(0));
    odds.assign(81, -60.0);
    odds[0] = odds[1] = 0.0;
    bottom.update(odds);
    CHECK(bottom.likeliest_hz() == Approx(low * std::exp(0.01 * 0.2)).epsilon(1e-4));
    // a line that moves evenly shows its slope, either way, up to the steepest
    for (const int slope : {-2, -1, 0, 1, 2}) {
        PlaceFilter moving(low, high, 1000.0, 0.01, 2);
        for (int hop = 0; hop < 15; ++hop) moving.update(only_at(static_cast<std::size_t>(40 + slope * (hop - 7))));
        CAPTURE(slope);
        CHECK(moving.present() > 0.999);
        CHECK(moving.likeliest_hz() == Approx(1000.0 * std::exp(0.01 * 7 * slope)).epsilon(1e-6));
        CHECK(moving.slope_places() == Approx(slope).margin(std::abs(slope) == 2 ? 0.35 : 0.2));
    }
    // Two hops tell a step of +1 from a slope of +1, with three slopes of a third each: of the first place 1/3 move by one and stay
    // (0.6), 1/3 move by none and stray (0.2), none come from -1.
    PlaceFilter three(low, high, 1e6, 0.01, 1);   // looked for far away: no place is likelier than another
    three.update(only_at(40));
    three.update(only_at(41));
    CHECK(three.slope_places() == Approx(0.6 / 0.8).epsilon(1e-3));
    // The third hop, another +1: of slope 1 there are 3/4, of 0 a quarter. Slopes are kept with 0.78, taken from either side with 0.1
    // (at the end from the same), and drawn anew with 0.02.
    three.update(only_at(42));
    const double up = 0.78 * 0.75 + 0.1 * (0.25 + 0.75) + 0.02 / 3.0, none = 0.78 * 0.25 + 0.1 * 0.75 + 0.02 / 3.0;
    CHECK(three.slope_places() == Approx(0.6 * up / (0.6 * up + 0.2 * none)).epsilon(1e-3));
    three.update(std::vector<double>(81, -5.5));   // hardly there, but with its slope
    const double was_up = 0.6 * up / (0.6 * up + 0.2 * none), was_none = 1.0 - was_up;
    CHECK(three.present() == Approx(0.996 * std::exp(-5.5) / (0.996 * std::exp(-5.5) + 0.004)).epsilon(1e-3));
    CHECK(three.slope_places() == Approx(0.78 * was_up + 0.1 * (was_up + was_none) - 0.1 * was_none).epsilon(1e-3));
}

TEST_CASE("places that one line's lobe covers count as one place", "[place_filter]") {
    // a line that shows over 25 Hz either way of 500 Hz: 50 places of a thousandth
    const auto present = [](double lobe_hz) {
        PlaceFilter filter(400.0, 600.0, 1e6, 0.001, 0, lobe_hz);
        for (int hop = 0; hop < 5; ++hop) {
            std::vector<double> odds(filter.places(), -3.0);
            for (std::size_t i = 0; i < odds.size(); ++i)
                if (std::abs(filter.place_hz(i) - 500.0) < 25.0) odds[i] = 8.0;
            filter.update(odds);
        }
        return filter.present();
    };
    CHECK(present(0.0) < 0.6);      // 14 places either way of 50
    CHECK(present(50.0) > 0.98);
    CHECK(present(20.0) < present(30.0));
}
