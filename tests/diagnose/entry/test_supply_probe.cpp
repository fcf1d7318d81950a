#include "../../../src/diagnose/entry/supply_probe.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../../src/diagnose/entry/supply_words.hpp"
#include "holds.hpp"

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

TEST_CASE("a slope and its ways are told with their figures", "[supply_probe]") {
    const FeedImpedance inductive = feed(1e-4, 5e-6);
    SupplyTransfer one = transfer(Channel::supply, 500, 5000, 1.25, 0.5);
    std::string text = words_of(one, &inductive);
    CHECK(holds(text, "Over the supply's voltage it goes by +1.2 dB a decade (+0.2 to +2.2 with 95 %), read from 500 Hz to 5.0 kHz."));
    CHECK(holds(text, "That fits magnetic pick-up, or a shared inductance (+0)."));
    CHECK_FALSE(holds(text, "isn't known"));
    CHECK_FALSE(holds(text, "half a decade"));
    CHECK_FALSE(holds(text, "Not calibrated"));
    CHECK_FALSE(holds(text, "Not used"));
    CHECK_FALSE(holds(text, "milliohm"));
    CHECK(holds(words_of(one, nullptr), "The feed's impedance isn't known; it is taken for an inductance at these lines."));
    // 2 sd and 6 dB either way: 20 less 6.5 is 13.5
    one.slope_db_per_decade = Reading{12.9, 0.25, {}};
    CHECK_FALSE(holds(words_of(one, &inductive), "capacitive"));
    one.slope_db_per_decade = Reading{13.7, 0.25, {}};
    CHECK(holds(words_of(one, &inductive), "capacitive"));
    one.slope_db_per_decade = Reading{26.3, 0.25, {}};
    CHECK(holds(words_of(one, &inductive), "capacitive"));
    one.slope_db_per_decade = Reading{26.7, 0.25, {}};
    CHECK(holds(words_of(one, &inductive), "No single way"));
    // several fit: the last after an "or"
    one.slope_db_per_decade = Reading{10.0, 3.0, {}};
    CHECK(holds(words_of(one, &inductive), "a shared inductance (+0) or capacitive pick-up"));
    one.slope_db_per_decade = Reading{0.0, 8.0, {}};
    CHECK(holds(words_of(one, &inductive), "share (-20), magnetic pick-up, or a shared inductance (+0) or capacitive"));
    for (const double decades : {0.49, 0.51}) {
        one.decades = decades;
        CHECK(holds(words_of(one, &inductive), "less than half a decade") == (decades < 0.5));
    }
    one.calibrated = false;
    one.spoilt = true;
    text = words_of(one, &inductive);
    CHECK(holds(text, "Not calibrated: the ratio is that of sample values"));
    CHECK(holds(text, "Not used: the probe itself changed the noise."));
    SupplyTransfer current = transfer(Channel::supply_current, 500, 5000, 0, 1);
    current.shared_mohm = Reading{2.5, 0.15, {}};
    current.shared_at_hz = 1500.0;
    text = words_of(current, &inductive);
    CHECK(holds(text, "Over the supply's current"));
    CHECK(holds(text, "a resistance that supply and signal share (+0)"));
    CHECK(holds(text, "Signal over current is 2.5 milliohm (to 0.3) at 1.5 kHz"));
    current.slope_db_per_decade.reset();
    current.points = {{500, {0, 0.1, {}}, 0.5}, {510, {0, 0.1, {}}, 0.97}, {520, {0, 0.1, {}}, 0.6}};
    CHECK(holds(words_of(current, &inductive), "Its lines go with the supply's current (coherence 0.97)"));
}

TEST_CASE("a feed's impedance is told in milliohm and microhenry, with its capacitors where they show", "[supply_probe]") {
    FeedImpedance one = feed(0.0125, 3e-6);
    one.resistance_ohm.sd = 0.0005;
    one.inductance_h.sd = 1e-7;
    one.from_hz = 150;
    one.to_hz = 2500;
    CHECK(words_of(one).starts_with(
        "Voltage over current is 12.5 milliohm (to 1) and 3 microhenry (to 0.2), alike at 663 Hz; read from 150 Hz to 2.5 kHz."));
    one.capacitance_f = Reading{0.0047, 0.0005, {}};
    CHECK(words_of(one).find("alike at 663 Hz, behind them 4.7 millifarad (to 1), the capacitors at the feed's end; read from") != std::string::npos);
}

TEST_CASE("capacitors at the feed's end bend its impedance where they resonate", "[supply_probe]") {
    // far below the resonance of 4 mF and 3 uH, 1.45 kHz, |Z| is that of the capacitors: -20 dB a decade
    FeedImpedance one = feed(1e-5, 3e-6);
    one.capacitance_f = Reading{0.004, 0.0001, {}};
    const SlopeLaws below = laws_of(transfer(Channel::supply_current, 20, 60, 0, 1), &one);
    CHECK(below.capacitive == Approx(0.0).margin(0.1));
    CHECK(below.magnetic == 20.0);
    CHECK(below.resistance == 0.0);
    // of points at one frequency no law goes anywhere
    SupplyTransfer single = transfer(Channel::supply, 1000, 10000, 0, 1);
    single.points.resize(1);
    CHECK(laws_of(single, &one).magnetic == 20.0);
}

TEST_CASE("a slope against the current is flat within 10 dB a decade, if it is known to 5 and may be none", "[supply_probe]") {
    CHECK(is_flat({0.0, 1.0, {}}));
    CHECK(is_flat({-9.9, 2.5, {}}));
    CHECK_FALSE(is_flat({10.1, 2.5, {}}));
    CHECK_FALSE(is_flat({-10.1, 2.5, {}}));
    CHECK(is_flat({7.9, 1.0, {}}));   // 2 sd and 6 dB
    CHECK_FALSE(is_flat({8.1, 1.0, {}}));
    CHECK(is_flat({0.0, 4.9, {}}));
    CHECK_FALSE(is_flat({0.0, 5.1, {}}));
}

TEST_CASE("slopes are weighed by how sure they are, on a scale from magnetic to capacitive", "[supply_probe]") {
    NoiseAnalysis analysis;
    analysis.feed_impedances = {feed(1e-4, 5e-6)};
    analysis.supply_transfers = {transfer(Channel::supply, 1000, 10000, 20, 4.9)};
    const auto weighed = [&] { return slope_that_weighs(analysis, "whine-1"); };
    REQUIRE(weighed());
    CHECK(weighed()->sd == Approx(std::hypot(4.9, 3.0)).epsilon(0.01));   // 3 dB that a law strays by
    analysis.supply_transfers[0].slope_db_per_decade->sd = 5.1;
    CHECK_FALSE(weighed());
    analysis.supply_transfers[0].slope_db_per_decade->sd = 4.0;
    analysis.feed_impedances.clear();
    CHECK(weighed()->sd == Approx(std::hypot(4.0, 6.0)));   // 6 dB where the feed isn't known
    // 4 and 3 dB make 5, 1 and 3 dB the root of 10; what bends one bends the next, too: no surer by their number
    analysis.feed_impedances = {feed(1e-6, 5e-6)};
    analysis.supply_transfers = {transfer(Channel::supply, 1000, 10000, 20, 4.0), transfer(Channel::supply, 1000, 10000, 0, 1.0)};
    analysis.supply_transfers[1].take = "takes/b.flac";
    const double a = 1.0 / 25.0, b = 1.0 / 10.0;
    CHECK(weighed()->db_per_decade == Approx(20.0 * a / (a + b)).margin(0.05));
    CHECK(weighed()->sd == Approx(std::sqrt(2.0 / (a + b))).epsilon(0.01));
    CHECK(weighed()->takes == std::vector<std::string>{"takes/a.flac", "takes/b.flac"});
    // near the feed's corner magnetic pick-up goes by more than nought: what lies between the two laws counts
    analysis.feed_impedances = {feed(0.06, 5e-6)};
    analysis.supply_transfers.resize(1);
    analysis.supply_transfers[0].slope_db_per_decade = Reading{15.0, 1.0, {}};
    const SlopeLaws laws = laws_of(analysis.supply_transfers[0], &analysis.feed_impedances[0]);
    CHECK(laws.magnetic > 3.0);
    CHECK(laws.magnetic < 12.0);
    const double stretch = 20.0 / (laws.capacitive - laws.magnetic);
    REQUIRE(weighed());
    CHECK(weighed()->db_per_decade == Approx(stretch * (15.0 - laws.magnetic)));
    CHECK(weighed()->sd == Approx(stretch * std::sqrt(10.0)));
    analysis.feed_impedances = {feed(1e-6, 5e-6)};
    analysis.supply_transfers = {transfer(Channel::supply, 1000, 10000, 20, 4.0), transfer(Channel::supply, 1000, 10000, 0, 1.0)};
    analysis.supply_transfers[1].take = "takes/b.flac";
    analysis.supply_transfers[0].slope_db_per_decade.reset();
    CHECK(weighed()->takes == std::vector<std::string>{"takes/b.flac"});
}
