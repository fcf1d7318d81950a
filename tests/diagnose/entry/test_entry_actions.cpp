#include "../../../src/diagnose/entry/entry_actions.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/entry/ground_estimate.hpp"
#include "holds.hpp"

using namespace hushtrace;

namespace {

/// A whine in a job, with the chances of its ways in as they stand.
struct Acting {
    NoiseSource source;
    Standing standing;
    Job job;
    NoiseAnalysis analysis;
    explicit Acting(const std::vector<EntrySet>& sets) {
        source.id = "whine-1";
        source.kind = NoiseKind::alternator_whine;
        source.frequency_hz = 1200;
        standing.posterior.sets = sets;
        for (const EntrySet& set : sets) {
            const std::size_t shares = set.second ? kShares : 1;
            standing.posterior.by_share.emplace_back(shares, set.probability / static_cast<double>(shares));
        }
    }
    Acting(const Acting&) = delete;
    ActsOn on() const { return {source, standing, job, analysis}; }
    std::vector<Promise> promises() const { return promises_of(on()); }
    EntryOutcome& outcome(EntryTest test, double change, double sd = 2) {
        EntryOutcome& out = standing.evidence.outcomes.emplace_back();
        out.test = test;
        out.change = change;
        out.sd = sd;
        return out;
    }
    Reading ground_change() const { return forecast("ground remade", on(), std::nullopt).value(); }
    std::string why() const { return promises().at(0).action.why; }
};
using W = EntryWay;
EntrySet set_of(W first, double probability, std::optional<W> second = std::nullopt) { return {first, second, probability}; }

}  // namespace

TEST_CASE("the ways that lead clearly ask for their remedies", "[actions]") {
    const Acting loop({set_of(W::ground_loop, 0.7), set_of(W::antenna_lead, 0.3)});
    const auto promises = loop.promises();
    REQUIRE(promises.size() == 1);
    CHECK(promises[0].done_as == "ground remade");
    const Action& action = promises[0].action;
    CHECK(action.source_id == "whine-1");
    CHECK(action.action.find("Remake the amplifier's ground") == 0);
    CHECK(action.why.find("Alternator whine gets in by a ground loop (70 %).") == 0);
    CHECK(holds(action.why, "An isolator would hide a bad ground instead."));
    CHECK(holds(action.why, "Once it is done, capture again with --note-change \"ground remade\"."));
    REQUIRE(action.expected_change_db);
    const Reading change = loop.ground_change();
    CHECK(*action.expected_change_db == change.value);
    CHECK(*action.sd_db == change.sd);
    CHECK(Acting({set_of(W::antenna_lead, 0.6), set_of(W::contact, 0.4)}).promises().size() == 1);
    CHECK(Acting({set_of(W::antenna_lead, 0.59), set_of(W::contact, 0.41)}).promises().empty());
    // two at once: both
    const auto both = Acting({set_of(W::antenna_lead, 0.8, W::contact), set_of(W::contact, 0.2)}).promises();
    REQUIRE(both.size() == 2);
    CHECK(both[0].done_as == "antenna mended");
    CHECK(both[1].done_as == "lead renewed");
    CHECK(holds(both[1].action.why, "a bad contact in lead or plug (80 %)."));
    // what has no words to be noted by isn't asked for
    const auto behind = Acting({set_of(W::amplifier_internal, 0.9)}).promises();
    CHECK(behind[0].done_as.empty());
    CHECK_FALSE(holds(behind[0].action.why, "--note-change"));
    CHECK_FALSE(behind[0].action.expected_change_db);
}

TEST_CASE("a set-up that may make the noise is put right first", "[actions]") {
    const auto first = [](double set_up, W lead = W::antenna_lead) {
        const auto promises = Acting({set_of(lead, 1 - set_up), set_of(W::measuring_setup, set_up)}).promises();
        return promises.empty() ? std::string_view("none") : promises[0].done_as;
    };
    CHECK(first(0.16) == "set-up changed");
    CHECK(first(0.14) == "antenna mended");
    CHECK(first(0.45) == "set-up changed");
    const auto alone = Acting({set_of(W::measuring_setup, 0.7), set_of(W::contact, 0.3)}).promises();
    CHECK(alone.size() == 1);   // leading, it is said once
    CHECK(alone[0].done_as == "set-up changed");
    CHECK(holds(alone[0].action.why, "the measuring set-up (70 %)."));
    const auto open = Acting({set_of(W::measuring_setup, 0.5), set_of(W::contact, 0.5)}).promises();
    CHECK(open.size() == 1);
    CHECK(holds(open[0].action.why, "(50 %)"));
}

TEST_CASE("both kinds of magnetic pick-up ask for another route together", "[actions]") {
    const auto route = [](double loop, double lead) {
        return Acting({set_of(W::pickup_loop, loop), set_of(W::pickup_lead, lead), set_of(W::contact, 1 - loop - lead)}).promises();
    };
    REQUIRE(route(0.4, 0.25).size() == 1);
    CHECK(route(0.4, 0.25)[0].done_as == "lead rerouted");
    CHECK(holds(route(0.4, 0.25)[0].action.why, "magnetic pick-up into the loop of shield and body (40 %)."));
    CHECK(holds(route(0.25, 0.4)[0].action.why, "magnetic pick-up into the lead itself (40 %)."));
    CHECK(route(0.3, 0.29).empty());
}

TEST_CASE("a test's change is one that a take showed", "[actions]") {
    Acting one({set_of(W::ground_loop, 1)});
    CHECK_FALSE(seen(one.standing.evidence, EntryTest::isolator));
    EntryOutcome& out = one.outcome(EntryTest::isolator, -12, 1.5);
    REQUIRE(seen(one.standing.evidence, EntryTest::isolator));
    CHECK(seen(one.standing.evidence, EntryTest::isolator)->change_db == -12);
    CHECK(seen(one.standing.evidence, EntryTest::isolator)->sd_db == 1.5);
    CHECK_FALSE(seen(one.standing.evidence, EntryTest::isolator)->at_most);
    CHECK_FALSE(seen(one.standing.evidence, EntryTest::temporary_lead));
    out.at_most = true;
    CHECK(seen(one.standing.evidence, EntryTest::isolator)->at_most);
    out.at_most = false;
    out.change = -30.6;   // as deep as is told
    CHECK(seen(one.standing.evidence, EntryTest::isolator)->at_most);
    out.change = -30.4;
    CHECK_FALSE(seen(one.standing.evidence, EntryTest::isolator)->at_most);
    out.also = {EntryTest::antenna_unplugged};
    CHECK_FALSE(seen(one.standing.evidence, EntryTest::isolator));
    out.also.clear();
    out.heard = "gone";
    CHECK_FALSE(seen(one.standing.evidence, EntryTest::isolator));
    out.heard.reset();
    out.done = "lead renewed";
    CHECK_FALSE(seen(one.standing.evidence, EntryTest::isolator));
}

TEST_CASE("a remedy brings what the temporary thing showed", "[actions]") {
    Acting one({set_of(W::source_internal, 1)});
    CHECK_FALSE(forecast("source changed", one.on(), std::nullopt));
    one.outcome(EntryTest::substitute_source, -14, 1.5);
    const auto change = forecast("source changed", one.on(), std::nullopt);
    REQUIRE(change);
    CHECK(change->value == -14);
    CHECK(change->sd == 1.5);
    CHECK(one.promises()[0].action.expected_change_db == -14);
    CHECK_FALSE(forecast("supply filter fitted", one.on(), std::nullopt));
    CHECK_FALSE(forecast("", one.on(), std::nullopt));
    CHECK_FALSE(forecast("something else", one.on(), std::nullopt));
    // of noise that no supply current of the amplifier carries the strap alone tells what a good ground brings
    Acting fixed({set_of(W::ground_loop, 1)});
    fixed.standing.evidence.question.follows_engine = false;
    CHECK_FALSE(forecast("ground remade", fixed.on(), std::nullopt));
    EntryOutcome& strap = fixed.outcome(EntryTest::temporary_ground, -9, 3);
    CHECK(forecast("ground remade", fixed.on(), std::nullopt)->value == -9);
    CHECK(forecast("ground remade", fixed.on(), std::nullopt)->sd == Approx(5));   // a joint is made better or worse than a strap: 4 dB
    CHECK_FALSE(holds(fixed.why(), "milliohm"));
    strap.at_most = true;
    CHECK_FALSE(forecast("ground remade", fixed.on(), std::nullopt));
}

TEST_CASE("a better ground brings what the circuit lets expect from all that was read of it", "[actions]") {
    Acting one({set_of(W::ground_loop, 1)});
    const auto check = [&one](const GroundSeen& what, double frequency_hz = 1200) {
        const GroundEstimate wanted = estimate_ground(what, one.job, frequency_hz);
        const Reading change = one.ground_change();
        CHECK(change.value == Approx(std::max(kDeepestFall_db, wanted.remade_db.value)));
        CHECK(change.sd == Approx(wanted.remade_db.sd).epsilon(0.01));
        return wanted;
    };
    const GroundEstimate usual = check({});
    const auto number = [](double value) { return std::to_string(std::lround(value)); };
    const std::string unmeasured = one.why();
    const std::string range = " milliohm (" + number(usual.low_mohm) + " to " + number(usual.high_mohm) + "); well made it is 1 to 2";
    CHECK(holds(unmeasured, "Nothing measured says how bad this ground is; such a one usually has about " + number(usual.middle_mohm) + range));
    CHECK(holds(unmeasured, "--observe ground_drop"));
    // the strongest line's frequency; 500 Hz where nothing is known of it
    one.source.harmonics = {{1, 1200, -50, std::nullopt}, {2, 2400, -40, std::nullopt}, {3, 3600, -45, std::nullopt}, {0, 0, -30, std::nullopt}};
    check({}, 2400);
    one.source.harmonics.clear();
    one.source.frequency_hz.reset();
    check({}, 500);
    one.source.frequency_hz = 1200;
    Observation drop;
    drop.what = "ground_drop";
    drop.value = 0.02;
    drop.conditions.engine = Engine::idle;
    one.job.observations = {drop};
    GroundSeen what;
    what.drop_v = 0.02;
    const GroundEstimate small = check(what);
    const std::string measured = one.why();
    CHECK(holds(measured, "What was measured makes this ground about " + number(small.middle_mohm)));
    CHECK_FALSE(holds(measured, "--observe ground_drop"));
    CHECK_FALSE(holds(measured, "near what can be had"));
    one.job.observations[0].conditions = {};   // with engine and loads off less of it is the vehicle's own
    what.drop_at_rest = true;
    check(what);
    one.job.observations[0].conditions.loads = {"fan"};
    CHECK(one.ground_change().value == Approx(small.remade_db.value));
    Observation declined = drop, none = drop, other = drop;
    declined.declined = true;
    none.value = 0;
    other.what = "supply_drop";
    one.job.observations = {declined, none, other};   // none of which is a reading of it
    CHECK(one.ground_change().value == Approx(usual.remade_db.value));
    one.job.observations.clear();
    SupplyTransfer shared;
    shared.source_id = "whine-1";
    shared.against = Channel::supply_current;
    shared.shared_mohm = Reading{40, 4, {}};
    one.analysis.supply_transfers = {shared};
    GroundSeen by_current;
    by_current.shared_mohm = shared.shared_mohm;
    check(by_current);
    // a ground that surely reads less than three times what is good
    one.job.observations = {drop};
    one.job.observations[0].value = by_current.drop_v = 0.006;
    one.analysis.supply_transfers[0].shared_mohm = by_current.shared_mohm = Reading{1, 0.05, {}};
    REQUIRE(estimate_ground(by_current, one.job, 1200).high_mohm < 3);
    CHECK(holds(one.why(), "That is near what can be had: look at the source's own ground as well."));
    one.job.observations.clear();
    SupplyTransfer elsewhere = shared, by_voltage = shared, spoilt = shared;
    elsewhere.source_id = "other";
    by_voltage.against = Channel::supply;
    spoilt.spoilt = true;
    one.analysis.supply_transfers = {elsewhere, by_voltage, spoilt};
    CHECK(one.ground_change().value == Approx(usual.remade_db.value));
    one.analysis.supply_transfers.clear();
    one.outcome(EntryTest::temporary_ground, -10, 2);
    GroundSeen by_strap;
    by_strap.strap = ChangeSeen{-10, 2, false};
    check(by_strap);
    // noise that comes another way isn't touched by it
    CHECK(forecast("ground remade", Acting({set_of(W::antenna_lead, 1)}).on(), std::nullopt)->value == 0);
}

TEST_CASE("another route brings what the place of the lead lets expect, for each step further off", "[actions]") {
    Acting one({set_of(W::pickup_lead, 1)});
    const auto brings = [&one](double metres, std::optional<ChangeSeen> seats = std::nullopt) {
        return std::max(kDeepestFall_db, reroute_change(W::pickup_lead, one.job.cables, seats, metres)->value);
    };
    CHECK_FALSE(forecast("lead rerouted", one.on(), std::nullopt));   // nobody knows where it lies
    CHECK(holds(one.why(), "what another route brings can't be told"));
    CHECK_FALSE(holds(one.why(), "Of what comes by this way"));
    one.job.cables.separation_m = 0.02;
    CHECK(forecast("lead rerouted", one.on(), 0.5)->value == Approx(brings(0.5)));
    // 0.2 m where nothing is asked; or the next that is 1.4 times as far and more
    for (const auto& [now_m, to_m] : {std::pair{0.02, 0.2}, {0.14, 0.2}, {0.15, 0.5}, {0.35, 0.5}}) {
        one.job.cables.separation_m = now_m;
        const auto change = forecast("lead rerouted", one.on(), std::nullopt);
        REQUIRE(change);
        CHECK(change->value == Approx(brings(to_m)));
    }
    one.job.cables.separation_m = 0.36;
    CHECK_FALSE(forecast("lead rerouted", one.on(), std::nullopt));
    CHECK(holds(one.why(), "It lies 0.36 m away already: more brings little."));
    one.job.cables.separation_m = 0.1;
    const std::string steps = one.why();
    CHECK(holds(steps, "Of what comes by this way: 20 cm away "));
    CHECK(holds(steps, ", 50 cm away "));
    CHECK_FALSE(holds(steps, ": 10 cm"));
    CHECK(holds(steps, "Its height above the metal isn't in the job"));
    const Reading twenty = reroute_change(W::pickup_lead, one.job.cables, std::nullopt, 0.2).value();
    CHECK(holds(steps, std::to_string(std::lround(twenty.value)) + " dB (give or take " + std::to_string(std::lround(2 * twenty.sd)) + ")"));
    one.job.cables.above_metal_m = 0.02;
    CHECK_FALSE(holds(one.why(), "Its height above the metal"));
    one.job.cables.separation_m = 0.006;   // wires that touch: far off is out of sight
    CHECK(holds(one.why(), "30 dB down and more"));
    // a lead across the seats tells without the place, or against it
    one.job.cables = {};
    EntryOutcome& seats = one.outcome(EntryTest::temporary_lead, -16, 2);
    CHECK(forecast("lead rerouted", one.on(), 0.2)->value == Approx(brings(0.2, ChangeSeen{-16, 2, false})));
    CHECK(holds(one.why(), "the forecast rests on the lead across the seats alone."));
    one.job.cables.separation_m = 0.02;
    const Reading expected = across_seats_change(W::pickup_lead, one.job.cables).value();
    const double reach = 2 * std::hypot(expected.sd, 2.0);
    const char* less = "a part comes by another way, or the stated separation is wrong.";
    seats.change = expected.value + reach + 0.1;
    const std::string part = one.why();
    CHECK(holds(part, less));
    CHECK(holds(part, "The lead across the seats brought " + std::to_string(std::lround(seats.change)) + " dB where its place lets " +
                            std::to_string(std::lround(expected.value)) + " dB expect"));
    seats.change = expected.value + reach - 0.1;
    CHECK_FALSE(holds(one.why(), less));
    seats.change = expected.value + reach + 0.1;
    seats.at_most = true;
    CHECK_FALSE(holds(one.why(), less));
    // what isn't picked up isn't touched by a route
    Acting loop({set_of(W::ground_loop, 1)});
    loop.job.cables.separation_m = 0.02;
    CHECK(forecast("lead rerouted", loop.on(), 0.2).value().value == 0);
}

TEST_CASE("an alternator with a broken part is repaired before anything else", "[actions]") {
    NoiseAnalysis analysis;
    NoiseSource hum, whine;
    hum.id = "hum-1";
    hum.kind = NoiseKind::mains_hum;
    whine.id = "whine-1";
    whine.kind = NoiseKind::alternator_whine;
    analysis.noise_sources = {hum, whine};
    CHECK_FALSE(alternator_first(analysis));
    analysis.health = {{"phases_unbalanced", "no.", 0.9}, {"diode_open", "Its sixth stands out.", 0.84}};
    const auto action = alternator_first(analysis);
    REQUIRE(action);
    CHECK(action->source_id == "whine-1");
    CHECK(holds(action->action, "--note-change \"alternator repaired\""));
    CHECK(action->why.find("A diode of it seems open (84 %): ") == 0);
    CHECK(holds(action->why, "Its sixth stands out."));
    CHECK_FALSE(action->expected_change_db);
    analysis.health = {{"phase_open", "", 0.5}};
    CHECK(alternator_first(analysis)->why.find("A phase of it seems open (50 %)") == 0);
    analysis.health[0].confidence = 0.49;
    CHECK_FALSE(alternator_first(analysis));
    analysis.health = {{"phases_unbalanced", "", 0.9}};
    CHECK_FALSE(alternator_first(analysis));
    analysis.health = {{"phase_open", "", 0.9}};
    analysis.noise_sources = {hum};
    CHECK_FALSE(alternator_first(analysis));
}
