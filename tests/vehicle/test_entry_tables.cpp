#include "hushtrace/vehicle/entry_tables.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace hushtrace;

namespace {

double mean_of(EntryTest test, EntryWay way, bool follows_engine = true) {
    double sum = 0;
    for (const ChangeLaw& law : expected_change(test, way, follows_engine)) sum += law.share * law.mean;
    return sum;
}

double decibels(double ratio) { return 20.0 * std::log10(ratio); }

}  // namespace

TEST_CASE("every cell of the entry tables is a law, or says nothing", "[entry]") {
    for (const bool follows_engine : {true, false})
        for (const EntryTest test : all_entry_tests())
            for (std::size_t w = 0; w < kEntryWays; ++w) {
                const auto laws = expected_change(test, static_cast<EntryWay>(w), follows_engine);
                double shares = 0;
                for (const ChangeLaw& law : laws) {
                    shares += law.share;
                    CHECK(law.sd > 0.0);
                }
                if (!laws.empty()) CHECK(shares == Approx(1.0));
                CHECK((!laws.empty() || !follows_engine));
            }
}

// The circuit, worked on paper: a core of R ohms beside 15 kOhm of input, a source of 150 ohm.
TEST_CASE("what ends the lead decides what a field puts into it, as the circuit says", "[entry]") {
    constexpr double input = 15000.0, source = 150.0;
    const auto beside = [](double a, double b) { return a * b / (a + b); };
    for (const auto& [test, end] : {std::pair(EntryTest::termination_1k, 1000.0), std::pair(EntryTest::termination_10k, 10000.0)}) {
        // a current into the core meets what ends it
        const double capacitive = decibels(beside(end, input) / beside(source, input));
        CHECK(std::abs(mean_of(test, EntryWay::pickup_capacitive) - capacitive) < 6.0);   // within the spread that other sources and inputs give
        // a voltage along the lead divides between both ends
        const double magnetic = decibels(input / (input + end) / (input / (input + source)));
        CHECK(std::abs(mean_of(test, EntryWay::pickup_lead) - magnetic) < 0.8);
    }
    CHECK(mean_of(EntryTest::unplugged_at_source, EntryWay::pickup_capacitive) == Approx(decibels(input / beside(source, input))).margin(6.0));
    CHECK(mean_of(EntryTest::unplugged_at_source, EntryWay::pickup_lead) < kToFloor_db);
    CHECK(mean_of(EntryTest::dummy_floating, EntryWay::pickup_capacitive) < kToFloor_db);   // shorted: nothing to drop over
}

TEST_CASE("the trade's traps stand in the tables", "[entry]") {
    // pulling the plug silences a loop too, and the source: it convicts nobody
    CHECK(mean_of(EntryTest::dummy_floating, EntryWay::ground_loop) == mean_of(EntryTest::dummy_floating, EntryWay::source_supply));
    // an isolator tells that the shield carries it, not by which path
    for (const EntryWay way : {EntryWay::ground_loop, EntryWay::pickup_loop, EntryWay::antenna_lead, EntryWay::source_shield_open})
        CHECK(mean_of(EntryTest::isolator, way) < kToFloor_db);
    // only another route tells pick-up into the loop from a shared ground, as far as the lead goes
    CHECK(mean_of(EntryTest::temporary_lead, EntryWay::ground_loop) == Approx(0.0));
    CHECK(mean_of(EntryTest::temporary_lead, EntryWay::pickup_loop) < -6.0);
    // a plug at the amplifier judges what lies behind it alone
    CHECK(mean_of(EntryTest::shorted_at_amp, EntryWay::speaker_side) == 0.0);
    CHECK(expected_change(EntryTest::shorted_at_amp, EntryWay::amplifier_internal, true).front().mean == 0.0);
    CHECK(expected_change(EntryTest::shorted_at_amp, EntryWay::amplifier_internal, true).front().share >
          0.8);  // but for shield current inside its input
    CHECK(mean_of(EntryTest::lead_on_dummy_at_amp, EntryWay::amplifier_internal) == 0.0);                         // which that test keeps
    // loads say nothing of what doesn't follow the engine
    CHECK(expected_change(EntryTest::loads_on, EntryWay::ground_loop, false).empty());
}

TEST_CASE("paths are spelled as the contract spells them", "[entry]") {
    CHECK(path_of(EntryWay::pickup_lead) == "cable_pickup");
    CHECK(*mechanism_of(EntryWay::pickup_capacitive) == "capacitive");
    CHECK_FALSE(mechanism_of(EntryWay::contact));
    CHECK(path_of(EntryWay::measuring_setup) == "measuring_setup");
}
