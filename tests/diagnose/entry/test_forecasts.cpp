#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/entry/change_verdicts.hpp"
#include "../../../src/diagnose/entry/cures.hpp"
#include "../../../src/diagnose/entry/ground_estimate.hpp"
#include "../../../src/diagnose/entry/over_ways.hpp"
#include "../../../src/diagnose/entry/reroute.hpp"
#include "diagnose/entry_outcomes.hpp"

using namespace hushtrace;
using namespace hushtrace::entry_outcomes;

namespace {

CableData beside_supply(double separation_m) {
    CableData cables;
    cables.separation_m = separation_m;
    cables.parallel_m = 4.0;
    cables.above_metal_m = 0.05;
    return cables;
}

double level(double ratio) {
    return 20.0 * std::log10(ratio);
}

/// A strap's change by the current divider: what is left over the strap's r beside Rg and Rs.
double strap_db(double strap, double ground, double source) {
    return level(strap / (strap + ground + source));
}

Standing standing_of(std::vector<EntryOutcome> outcomes) {
    Standing out;
    out.evidence.question.set_up_apart = true;
    out.evidence.outcomes = std::move(outcomes);
    out.posterior = entry_posterior(out.evidence.question, out.evidence.outcomes);
    return out;
}

NoiseSource whine() {
    NoiseSource out;
    out.id = "alternator_whine-1";
    out.kind = NoiseKind::alternator_whine;
    out.frequency_hz = 600.0;
    out.harmonics = {{1.0, 600.0, -60.0, std::nullopt}, {2.0, 1200.0, -70.0, std::nullopt}};
    return out;
}

Standing settled_loop() {
    using T = EntryTest;
    return standing_of({bounded(T::isolator, kToFloor_db, 2), bounded(T::dummy_floating, kToFloor_db, 2),
                        read(T::shorted_at_source, -1, 1), read(T::temporary_lead, 0, 1), read(T::temporary_ground, strap_db(15, 9, 1.5), 1),
                        read(T::antenna_unplugged, 0, 1), read(T::source_shell_link, 0, 1)});
}
Standing settled_lead() {
    using T = EntryTest;
    return standing_of(
        {read(T::isolator, 0, 1), read(T::dummy_floating, 0, 1), read(T::termination_1k, -0.5, 1), read(T::temporary_lead, -18, 2)});
}

const Cure& cure_named(const std::vector<Cure>& cures, const std::string& what) {
    for (const Cure& one : cures)
        if (one.what == what) return one;
    throw std::runtime_error(what);
}

}  // namespace

TEST_CASE("distance brings what the formulas of two wires over metal say", "[forecasts]") {
    // mu0/(4 pi) ln(1 + 4 h1 h2 / d^2) at h 5 cm: 2 cm, 10 cm, 50 cm: ln 26, ln 2, ln 1.04 (Paul 2006 ch. 4): -13.4 and -38.4 dB
    const auto near = reroute_change(EntryWay::pickup_loop, beside_supply(0.02), std::nullopt, 0.1);
    REQUIRE(near);
    CHECK(near->value == Approx(level(std::log(2.0) / std::log(26.0))).margin(1.0));
    CHECK(near->sd > 1.5);  // a tape measure is no micrometer
    CHECK(near->sd < 5.0);
    const auto far = reroute_change(EntryWay::pickup_loop, beside_supply(0.02), std::nullopt, 0.5);
    CHECK(far->value < -29.0);
    // a narrow lead sees the field of a wire: 1/d, -14 dB from 2 to 10 cm (Ott 2009 ch. 2)
    CHECK(reroute_change(EntryWay::pickup_lead, beside_supply(0.02), std::nullopt, 0.1)->value == Approx(-14.0).margin(1.0));
    CHECK(reroute_change(EntryWay::ground_loop, beside_supply(0.02), std::nullopt, 0.1)->value == 0.0);
}

TEST_CASE("what is no pick-up stays as it is wherever the lead lies, to half a decibel", "[forecasts]") {
    for (const EntryWay way : {EntryWay::ground_loop, EntryWay::source_supply, EntryWay::source_internal, EntryWay::contact}) {
        CHECK_FALSE(is_pickup(way));
        const auto moved = reroute_change(way, {}, std::nullopt, 0.2), seats = across_seats_change(way, {});
        REQUIRE(moved);
        REQUIRE(seats);
        CHECK(moved->value == 0.0);
        CHECK(moved->sd == 0.5);
        CHECK(seats->value == 0.0);
        CHECK(seats->sd == 0.5);
    }
    for (const EntryWay way : {EntryWay::pickup_loop, EntryWay::pickup_lead, EntryWay::pickup_capacitive}) {
        CHECK(is_pickup(way));
        CHECK_FALSE(across_seats_change(way, {}));   // from where to where nobody knows
        CHECK(across_seats_change(way, beside_supply(0.0)));   // wires that touch are known to
        CHECK(reroute_change(way, beside_supply(0.0), std::nullopt, 0.2));
        CHECK_FALSE(across_seats_change(way, beside_supply(-0.01)));
        CHECK_FALSE(across_seats_change(way, beside_supply(std::nan(""))));
        // no nearer than two insulated wires can lie, 6 mm
        CHECK(reroute_change(way, beside_supply(0.0), std::nullopt, 0.2)->value ==
              Approx(reroute_change(way, beside_supply(0.006), std::nullopt, 0.2)->value).margin(0.01));
        CHECK(reroute_change(way, beside_supply(0.02), std::nullopt, 0.2)->sd > 1.5);   // straight wires are not a vehicle
        // the nearer it lay the more is gained
        CHECK(across_seats_change(way, beside_supply(0.01))->value < across_seats_change(way, beside_supply(0.1))->value - 5.0);
    }
}

TEST_CASE("without the separation a lead across the seats tells what can be told", "[forecasts]") {
    CHECK_FALSE(reroute_change(EntryWay::pickup_lead, CableData{}, std::nullopt, 0.2));
    const auto much = reroute_change(EntryWay::pickup_lead, CableData{}, ChangeSeen{-38, 2, false}, 0.2);
    const auto little = reroute_change(EntryWay::pickup_lead, CableData{}, ChangeSeen{-20, 2, false}, 0.2);
    REQUIRE(much);
    REQUIRE(little);
    CHECK(much->value < little->value - 6.0);
    CableData broken = beside_supply(std::nan(""));
    CHECK_FALSE(reroute_change(EntryWay::pickup_loop, broken, std::nullopt, 0.2));
}

TEST_CASE("the lead across the seats moves what the tape measure gave", "[forecasts]") {
    const auto alone = reroute_change(EntryWay::pickup_lead, beside_supply(0.02), std::nullopt, 0.1);
    const auto expected = across_seats_change(EntryWay::pickup_lead, beside_supply(0.02));
    REQUIRE(expected);
    const auto less = reroute_change(EntryWay::pickup_lead, beside_supply(0.02), ChangeSeen{expected->value + 5.0, 1.0, false}, 0.1);
    CHECK(less->value > alone->value + 1.0);  // its tape measure read too little
    CHECK(less->sd < alone->sd + 0.3);
}

TEST_CASE("the strap tells the milliohms of a ground: Rg + Rs = r (1/k - 1)", "[forecasts]") {
    // current divider, by hand: r 15, Rs 1.5 milliohm
    for (const double ground : {5.0, 12.0, 30.0}) {
        GroundSeen seen;
        seen.strap = ChangeSeen{strap_db(15.0, ground, 1.5), 0.5, false};
        const GroundEstimate estimate = estimate_ground(seen, Job{}, 600.0);
        CHECK(estimate.measured);
        CHECK(estimate.middle_mohm == Approx(ground).epsilon(0.35));
        CHECK(estimate.low_mohm < ground);
        CHECK(estimate.high_mohm > ground);
        // remade to 1 milliohm; more current flows into the better ground, by up to some dB
        CHECK(estimate.remade_db.value == Approx(level(1.1 / ground)).margin(3.5));
        CHECK(estimate.remade_db.value > level(1.1 / ground) - 1.5);
    }
}

TEST_CASE("the meter's drop over the amplifier's idling current tells the milliohms too, coarsely", "[forecasts]") {
    GroundSeen seen;
    seen.drop_at_rest = true;
    seen.drop_v = 0.002 + 1.5 * 0.020;  // Ohm: 20 milliohm at 1.5 A
    const GroundEstimate estimate = estimate_ground(seen, Job{}, 600.0);
    CHECK(estimate.middle_mohm == Approx(20.0).epsilon(0.25));
    CHECK(estimate.high_mohm / estimate.low_mohm > 1.8);
    Job two;   // amplifiers that may draw 50 and 80 A idle at more than an unknown one: the same drop is fewer milliohms
    two.amplifiers.resize(2);
    two.amplifiers[0].max_current_a = 50;
    two.amplifiers[1].max_current_a = 80;
    CHECK(estimate_ground(seen, two, 600.0).middle_mohm < 0.6 * estimate.middle_mohm);
    seen.strap = ChangeSeen{strap_db(15.0, 20.0, 1.5), 1.0, false};
    const GroundEstimate both = estimate_ground(seen, Job{}, 600.0);
    CHECK(both.high_mohm / both.low_mohm < estimate.high_mohm / estimate.low_mohm);
    GroundSeen by_clamp;
    by_clamp.shared_mohm = Reading{0.6 * 12.0, 0.5};
    CHECK(estimate_ground(by_clamp, Job{}, 600.0).middle_mohm == Approx(12.0).epsilon(0.3));
    CHECK_FALSE(estimate_ground({}, Job{}, 600.0).measured);
    seen.drop_v = std::nan("");
    CHECK(std::isfinite(estimate_ground(seen, Job{}, 600.0).remade_db.value));
}

TEST_CASE("a forecast over ways is that of the leading one, and the rest widens it", "[forecasts]") {
    const Standing loop = settled_loop();
    const Reading sure = middle_change(loop.posterior, [](EntryWay way) { return way == EntryWay::ground_loop ? Reading{-20, 1} : Reading{0, 0.5}; });
    CHECK(sure.value == Approx(-20.0).margin(0.7));
    CHECK(sure.sd > 1.0);  // what else may be open widens it
    CHECK(sure.sd < 9.0);
    // before any test nothing leads, and the mean power hardly falls: 9 of 10 paths stay
    const Standing open = standing_of({});
    CHECK(power_change(open.posterior, [](EntryWay way) {
              return way == EntryWay::ground_loop ? Reading{-30, 1} : Reading{0, 0.5};
          }).value == Approx(10 * std::log10(0.87)).margin(0.2));
    CHECK(middle_change(open.posterior, [](EntryWay way) {
              return way == EntryWay::ground_loop ? Reading{-30, 1} : Reading{0, 0.5};
          }).value == Approx(0.0).margin(0.1));
}

TEST_CASE("cures are reckoned for this noise's lines and the ways that are open", "[forecasts]") {
    const NoiseSource source = whine();
    const NoiseAnalysis analysis;
    const Job job;
    const Standing loop = settled_loop(), lead = settled_lead();
    const auto for_loop = cures_for({source, loop, job, analysis}), for_lead = cures_for({source, lead, job, analysis});
    CHECK(cure_named(for_loop, "isolator").expected_change_db <= -20.0);
    CHECK(cure_named(for_lead, "isolator").expected_change_db == Approx(0.0).margin(1.0));
    CHECK(cure_named(for_loop, "ferrite").expected_change_db > -1.5);  // tenths of an ohm against milliohms
    CHECK(cure_named(for_lead, "ferrite").expected_change_db > -0.5);
    CHECK(cure_named(for_loop, "supply_filter").expected_change_db == Approx(0.0).margin(0.5));
    CHECK(cure_named(for_lead, "another_cable").expected_change_db < -8.0);
    for (const Cure& one : for_loop) {
        CHECK(one.sd_db > 0.0);
        CHECK_FALSE(one.text.empty());
        CHECK(one.source_id == source.id);
    }
    // the source's supply: its own battery silenced it. What else may be left by those tests holds the mean power up
    using T = EntryTest;
    const Standing supply = standing_of({bounded(T::source_on_own_battery, kToFloor_db, 2), read(T::isolator, 0, 1),
                                         bounded(T::dummy_floating, kToFloor_db, 2), bounded(T::shorted_at_source, kToFloor_db, 2)});
    const auto for_supply = cures_for({source, supply, job, analysis});
    CHECK(for_supply.front().what == "supply_filter");
    CHECK(for_supply.front().expected_change_db < -6.0);
    CHECK(cure_named(for_supply, "isolator").expected_change_db == Approx(0.0).margin(1.0));
    double shares = 0;
    for (const auto& line : lines_of(source)) shares += line.second;
    CHECK(shares == Approx(1.0));
    NoiseSource nothing;
    CHECK_FALSE(lines_of(nothing).empty());
}

TEST_CASE("a promise is kept, failed or bettered by the reading's and its own uncertainty", "[forecasts]") {
    const Reading promised{-20, 3};
    CHECK(verdict_of({-18, 1}, false, promised) == "kept");
    CHECK(verdict_of({-26, 1}, false, promised) == "kept");
    CHECK(verdict_of({-30, 1}, false, promised) == "better");
    CHECK(verdict_of({-10, 1}, false, promised) == "failed");
    CHECK(verdict_of({-1, 1}, false, Reading{-8, 4}) == "failed");  // nothing came of it
    CHECK(verdict_of({-9, 1}, false, Reading{-8, 4}) == "kept");
    CHECK(verdict_of({-15, 2}, true, promised) == "kept");          // it isn't found any more
    CHECK(verdict_of({-40, 1}, false, Reading{-31, 2}) == "kept");  // to the floor is to the floor
    CHECK(verdict_of({-15, 2}, false, std::nullopt) == "not_promised");
}

TEST_CASE("a promise is made where a way leads, for what its remedy is called", "[forecasts]") {
    const NoiseSource source = whine();
    const NoiseAnalysis analysis;
    Job job;
    job.cables = beside_supply(0.02);
    const Standing loop = settled_loop(), lead = settled_lead(), open = standing_of({});
    const auto ground = promises_of({source, loop, job, analysis});
    REQUIRE(ground.size() == 1);
    CHECK(ground.front().done_as == "ground remade");
    REQUIRE(ground.front().action.expected_change_db);
    CHECK(*ground.front().action.expected_change_db == Approx(level(1.1 / 9.0)).margin(4.0));
    CHECK(ground.front().action.why.find("milliohm") != std::string::npos);
    const auto route = promises_of({source, lead, job, analysis});
    REQUIRE(route.size() == 1);
    CHECK(route.front().done_as == "lead rerouted");
    CHECK(*route.front().action.expected_change_db < -10.0);
    REQUIRE(forecast("lead rerouted", {source, lead, job, analysis}, 0.5));
    CHECK(forecast("lead rerouted", {source, lead, job, analysis}, 0.5)->value < -20.0);
    CHECK(promises_of({source, open, job, analysis}).empty());
    const Job unknown;
    const Standing no_route =
        standing_of({read(EntryTest::isolator, 0, 1), read(EntryTest::dummy_floating, 0, 1), read(EntryTest::termination_1k, -0.5, 1)});
    CHECK_FALSE(forecast("lead rerouted", {source, no_route, unknown, analysis}, std::nullopt));
}

TEST_CASE("a lead that lies far off already is promised nothing", "[forecasts]") {
    const NoiseSource source = whine();
    const NoiseAnalysis analysis;
    Job job;
    job.cables = beside_supply(0.6);
    const Standing lead = settled_lead();
    CHECK_FALSE(forecast("lead rerouted", {source, lead, job, analysis}, std::nullopt));
    CHECK(promises_of({source, lead, job, analysis}).front().action.why.find("0.6 m away already") != std::string::npos);
}

TEST_CASE("an alternator's fault stands before all else", "[forecasts]") {
    NoiseAnalysis analysis;
    analysis.noise_sources = {whine()};
    CHECK_FALSE(alternator_first(analysis));
    analysis.health = {{"diode_open", "The lines below the whine are strong.", 0.9}};
    REQUIRE(alternator_first(analysis));
    CHECK(alternator_first(analysis)->source_id == "alternator_whine-1");
    analysis.health.front().confidence = 0.3;
    CHECK_FALSE(alternator_first(analysis));
}
