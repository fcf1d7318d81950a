#include "../../src/diagnose/supply_probe.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../src/diagnose/supply_words.hpp"

using namespace hushtrace;

namespace {

SupplyTransfer transfer(Channel against, double from_hz, double to_hz, double slope, double sd) {
    SupplyTransfer out;
    out.source_id = "whine-1";
    out.take = "takes/a.flac";
    out.against = against;
    for (double f = from_hz; f <= to_hz * 1.0001; f *= std::pow(to_hz / from_hz, 0.1)) out.points.push_back({f, {0, 0.1, {}}, 0.99});
    out.slope_db_per_decade = Reading{slope, sd, {}};
    out.decades = std::log10(to_hz / from_hz);
    return out;
}
FeedImpedance feed(double ohm, double henry) {
    FeedImpedance out;
    out.resistance_ohm.value = ohm;
    out.inductance_h.value = henry;
    out.corner_hz.value = ohm / (2 * std::numbers::pi * henry);
    return out;
}

}  // namespace

TEST_CASE("far above a feed's corner the ways go by 20 dB a decade, far below it by the current's law", "[supply_probe]") {
    // Z = R + jwL: w L far above the corner, R far below it
    const FeedImpedance inductive = feed(1e-4, 5e-6), resistive = feed(1.0, 1e-7);
    const SlopeLaws above = laws_of(transfer(Channel::supply, 1000, 10000, 0, 1), &inductive);
    CHECK(above.known);
    CHECK(above.resistance == Approx(-20).margin(0.1));
    CHECK(above.magnetic == Approx(0).margin(0.1));
    CHECK(above.capacitive == 20.0);
    const SlopeLaws below = laws_of(transfer(Channel::supply, 1000, 10000, 0, 1), &resistive);
    CHECK(below.resistance == Approx(0).margin(0.1));
    CHECK(below.magnetic == Approx(20).margin(0.1));
    const SlopeLaws current = laws_of(transfer(Channel::supply_current, 1000, 10000, 0, 1), &inductive);
    CHECK(current.resistance == 0.0);
    CHECK(current.magnetic == 20.0);
    CHECK(current.capacitive == Approx(40).margin(0.1));
}

TEST_CASE("a slope weighs only where it can tell capacitive from magnetic pick-up", "[supply_probe]") {
    NoiseAnalysis analysis;
    CHECK_FALSE(slope_that_weighs(analysis, "whine-1"));
    analysis.supply_transfers = {transfer(Channel::supply, 1000, 10000, 20, 1)};
    analysis.feed_impedances = {feed(1e-4, 5e-6)};
    const auto clear = slope_that_weighs(analysis, "whine-1");
    REQUIRE(clear);
    CHECK(clear->db_per_decade == Approx(20).margin(0.2));
    CHECK(clear->sd < 5.0);
    CHECK(clear->takes == std::vector<std::string>{"takes/a.flac"});
    CHECK_FALSE(slope_that_weighs(analysis, "whine-2"));
    analysis.feed_impedances.clear();
    CHECK(slope_that_weighs(analysis, "whine-1")->sd > clear->sd);   // an unknown feed leaves more open
    analysis.feed_impedances = {feed(1.0, 1e-7)};                    // behind a resistance both rise by 20
    CHECK_FALSE(slope_that_weighs(analysis, "whine-1"));
    analysis.feed_impedances = {feed(1e-4, 5e-6)};
    analysis.supply_transfers[0].spoilt = true;
    CHECK_FALSE(slope_that_weighs(analysis, "whine-1"));
    analysis.supply_transfers = {transfer(Channel::supply, 1000, 2000, 20, 1)};   // less than half a decade
    CHECK_FALSE(slope_that_weighs(analysis, "whine-1"));
    analysis.supply_transfers = {transfer(Channel::supply, 1000, 10000, 20, 8)};   // vague
    CHECK_FALSE(slope_that_weighs(analysis, "whine-1"));
    analysis.supply_transfers = {transfer(Channel::supply_current, 1000, 10000, 20, 1)};
    CHECK_FALSE(slope_that_weighs(analysis, "whine-1"));
}

TEST_CASE("a slope names the ways that fit, and ranks no ground loop", "[supply_probe]") {
    const FeedImpedance inductive = feed(1e-4, 5e-6);
    const std::string falls = words_of(transfer(Channel::supply, 1000, 10000, -19, 1), &inductive);
    CHECK(falls.find("a resistance that supply and signal share (-20)") != std::string::npos);
    CHECK(falls.find("capacitive") == std::string::npos);
    CHECK(falls.find("does not tell a ground loop from pick-up") != std::string::npos);
    const std::string rises = words_of(transfer(Channel::supply, 1000, 10000, 20, 1), &inductive);
    CHECK(rises.find("capacitive pick-up") != std::string::npos);
    CHECK(rises.find("a resistance") == std::string::npos);
    CHECK(words_of(transfer(Channel::supply, 1000, 10000, 60, 1), &inductive).find("No single way") != std::string::npos);
    CHECK(words_of(transfer(Channel::supply, 1000, 1500, 0, 8), nullptr).find("less than half a decade") != std::string::npos);
    SupplyTransfer bare = transfer(Channel::supply, 1000, 10000, 0, 1);
    bare.slope_db_per_decade.reset();
    CHECK(words_of(bare, nullptr).find("too few") != std::string::npos);
}
