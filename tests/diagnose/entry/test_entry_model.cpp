#include "../../../src/diagnose/entry/entry_model.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/entry_outcomes.hpp"

using namespace hushtrace;
using namespace hushtrace::entry_outcomes;

namespace {

EntryOutcome gone(EntryTest test) { return bounded(test, kToFloor_db); }
double chance_of(const EntryPosterior& posterior, EntryWay way) {
    double sum = 0;
    for (const EntrySet& set : posterior.sets)
        if (set.has(way)) sum += set.probability;
    return sum;
}
double total(const EntryPosterior& posterior) {
    double sum = 0;
    for (const EntrySet& set : posterior.sets) sum += set.probability;
    return sum;
}

}  // namespace

TEST_CASE("before any test every path at the input is as likely, and one is likelier than two", "[entry]") {
    const EntryPosterior prior = entry_posterior({}, {});
    CHECK(total(prior) == Approx(1.0));
    double loop = 0, supply = 0, pairs = 0, behind = 0;
    for (const EntrySet& set : prior.sets) {
        if (set.second) pairs += set.probability;
        else if (set.first == EntryWay::ground_loop) loop = set.probability;
        else if (set.first == EntryWay::source_supply) supply = set.probability;
        else if (is_behind_the_input(set.first)) behind += set.probability;
    }
    CHECK(loop == Approx(supply));
    CHECK(pairs == Approx(0.24).margin(0.03));   // 0.2, with the single ways behind the input left out
    CHECK(behind < 1e-3);
}

TEST_CASE("the four steps of the dummy test name what they can", "[entry]") {
    EntryQuestion apart;
    apart.set_up_apart = true;   // the laptop on its battery
    // the lead in a dummy plug, touching nothing, keeps its noise: the lead itself picks it up, magnetically since the dummy is a short
    const EntryPosterior lead = entry_posterior(apart, {read(EntryTest::dummy_floating, 0.3)});
    CHECK(lead.sets.front().first == EntryWay::pickup_lead);
    // gone there and back on the source's jack: a loop, by whichever way
    const EntryPosterior loop = entry_posterior(apart, {gone(EntryTest::dummy_floating), read(EntryTest::shorted_at_source, -0.8)});
    CHECK(chance_of(loop, EntryWay::ground_loop) + chance_of(loop, EntryWay::pickup_loop) + chance_of(loop, EntryWay::antenna_lead) +
              chance_of(loop, EntryWay::contact) >
          0.85);
    CHECK(loop.sets.front().probability < 0.6);   // which of them is left open
    // gone in both: the source
    const EntryPosterior source = entry_posterior(apart, {gone(EntryTest::dummy_floating), gone(EntryTest::shorted_at_source)});
    CHECK(chance_of(source, EntryWay::ground_loop) < 0.1);
    CHECK(chance_of(source, EntryWay::source_supply) + chance_of(source, EntryWay::source_internal) +
              chance_of(source, EntryWay::source_shield_open) >
          0.7);
}

TEST_CASE("pulling the plug convicts nobody", "[entry]") {
    const EntryPosterior pulled = entry_posterior({}, {gone(EntryTest::unplugged_at_source)});
    CHECK(pulled.sets.front().probability < 0.3);
}

TEST_CASE("two ways leave what each of them leaves", "[entry]") {
    EntryQuestion apart;
    apart.set_up_apart = true;
    // most goes with the shield's current, some stays in the lead: no single way does that
    const EntryPosterior both = entry_posterior(
        apart, {read(EntryTest::isolator, -7.8, 1.0), read(EntryTest::dummy_floating, -8.1, 1.0), read(EntryTest::shorted_at_source, -0.4, 1.0)});
    REQUIRE(both.sets.front().second);
    CHECK(both.sets.front().has(EntryWay::pickup_lead));
    CHECK(chance_of(both, EntryWay::pickup_lead) > 0.8);
}

TEST_CASE("what only the ear hears lies behind the input", "[entry]") {
    EntryQuestion behind;
    behind.at_the_input = false;
    const EntryPosterior amplifier = entry_posterior(behind, {heard(EntryTest::shorted_at_amp, "same"), heard(EntryTest::test_speaker, "same")});
    CHECK(amplifier.sets.front().first == EntryWay::amplifier_internal);
    const EntryPosterior speakers = entry_posterior(behind, {heard(EntryTest::shorted_at_amp, "same"), heard(EntryTest::test_speaker, "gone")});
    CHECK(speakers.sets.front().first == EntryWay::speaker_side);
}

TEST_CASE("one outcome that nothing explains doesn't overturn the rest", "[entry]") {
    const std::vector<EntryOutcome> clear = {gone(EntryTest::isolator), gone(EntryTest::antenna_unplugged), read(EntryTest::shorted_at_source, 0.0),
                                             read(EntryTest::temporary_lead, 0.0)};
    const EntryPosterior before = entry_posterior({}, clear);
    CHECK(before.sets.front().first == EntryWay::antenna_lead);
    std::vector<EntryOutcome> odd = clear;
    odd.push_back(read(EntryTest::source_paused, 17.0));
    // a bound on what one test may weigh: 3 % of them show what nothing explains
    EntrySet antenna;
    antenna.first = EntryWay::antenna_lead;
    CHECK(weight_of({}, antenna, gone(EntryTest::source_shell_link)) > -4.0);
    CHECK(weight_of({}, antenna, gone(EntryTest::source_shell_link)) < -1.0);
    CHECK(entry_posterior({}, odd).sets.front().first == EntryWay::antenna_lead);
}

TEST_CASE("the next test is worth its bits, and none is when all is known", "[entry]") {
    const std::vector<EntryTest> possible = {EntryTest::antenna_unplugged, EntryTest::source_paused, EntryTest::isolator, EntryTest::dummy_floating};
    const auto first = worth_of_tests({}, entry_posterior({}, {}), possible, false, {});
    REQUIRE(first.size() == possible.size());
    for (const TestWorth& one : first) {
        CHECK(one.bits >= -1e-9);
        CHECK(one.bits < 2.5);
        double chances = 0;
        for (const TestWorth::Branch& branch : one.branches) chances += branch.chance;
        CHECK(chances == Approx(1.0).margin(0.01));
    }
    CHECK(first.front().test == EntryTest::isolator);   // splits the ways in two, in three minutes
    const EntryPosterior known =
        entry_posterior({}, {gone(EntryTest::isolator), gone(EntryTest::antenna_unplugged), read(EntryTest::shorted_at_source, 0.0),
                             read(EntryTest::temporary_lead, 0.0), read(EntryTest::temporary_ground, -2.0), read(EntryTest::source_shell_link, 0.0)});
    CHECK(known.sets.front().first == EntryWay::antenna_lead);
    for (const TestWorth& one : worth_of_tests({}, known, possible, true, {}))
        if (one.test == EntryTest::source_paused) CHECK(one.bits < kLeastBits);
    // reaching the source's back is paid once
    double before = 0, after = 0;
    for (const TestWorth& one : first)
        if (one.test == EntryTest::dummy_floating) before = one.minutes;
    for (const TestWorth& one : worth_of_tests({}, entry_posterior({}, {}), possible, true, {}))
        if (one.test == EntryTest::dummy_floating) after = one.minutes;
    CHECK(before - after == Approx(kReachSource_min));
}

TEST_CASE("two tests made in one take say what both would, and no more", "[entry]") {
    EntryOutcome both = gone(EntryTest::isolator);
    both.also = {EntryTest::antenna_unplugged};
    const auto together = entry_posterior({}, {both}), alone = entry_posterior({}, {gone(EntryTest::isolator)});
    CHECK(total(together) == Approx(1.0));
    CHECK(chance_of(together, EntryWay::ground_loop) == Approx(chance_of(alone, EntryWay::ground_loop)).margin(0.02));
    CHECK(chance_of(together, EntryWay::pickup_lead) < 0.1);
    EntryOutcome half = read(EntryTest::temporary_ground, -11.0);
    half.also = {EntryTest::temporary_lead};   // a strap, and a lead across the seats: the loop falls by the strap alone
    CHECK(chance_of(entry_posterior({}, {half}), EntryWay::ground_loop) > chance_of(entry_posterior({}, {}), EntryWay::ground_loop));
}

TEST_CASE("at the output all that is heard counts, at the input what lies before it", "[entry]") {
    EntryQuestion behind;
    behind.at_the_input = false;
    EntryOutcome dummy = read(EntryTest::shorted_at_amp, 0.0);
    dummy.at_output = true;
    CHECK(chance_of(entry_posterior(behind, {dummy}), EntryWay::amplifier_internal) > 0.4);
    EntryQuestion unknown = behind;
    unknown.place_known = false;   // nobody looked at the input
    CHECK(chance_of(entry_posterior(unknown, {}), EntryWay::ground_loop) > 0.05);
    EntryOutcome falls = gone(EntryTest::shorted_at_amp);
    falls.at_output = true;
    CHECK(chance_of(entry_posterior(unknown, {falls}), EntryWay::amplifier_internal) < 0.1);
    CHECK(chance_of(entry_posterior(unknown, {dummy}), EntryWay::amplifier_internal) > 0.25);
}

TEST_CASE("a level that strays within a take speaks for a joint that moves", "[entry]") {
    EntryOutcome strays = read(EntryTest::level_wanders, 3.5, 0.4), holds = read(EntryTest::level_wanders, 0.2, 0.4);
    CHECK(chance_of(entry_posterior({}, {strays}), EntryWay::contact) > 0.8);
    CHECK(chance_of(entry_posterior({}, {holds}), EntryWay::contact) < 0.1);
}

TEST_CASE("a job's own minutes take the place of the usual ones", "[entry]") {
    Labour labour{{{"isolator", 45.0}, {"reach_source", 2.0}}};
    CHECK(labour.of(EntryTest::isolator) == 45.0);
    CHECK(labour.of(EntryTest::antenna_unplugged) == facts_of(EntryTest::antenna_unplugged).minutes);
    for (const TestWorth& one : worth_of_tests({}, entry_posterior({}, {}), {EntryTest::isolator, EntryTest::dummy_floating}, false, labour))
        CHECK(one.minutes == (one.test == EntryTest::isolator ? 45.0 : 2.0 + facts_of(EntryTest::dummy_floating).minutes));
}
