#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "../../../src/diagnose/entry/ground_estimate.hpp"
#include "hushtrace/vehicle/supply_wiring.hpp"

using namespace hushtrace;

namespace {

// Where the cable's inductance alone makes the amplifier's branch stiff beside any ground: its current is then steady.
constexpr double kStiff_hz = 20000;
constexpr double kPrior_mohm = 10.0, kPriorSd = 0.9;  // of such joints, in ln

/// Of two readings in logarithms: each by its weight, one over its variance.
struct Combined {
    double middle, sd_ln;
};
Combined with_prior(double read_mohm, double sd_ln) {
    const double prior = 1 / (kPriorSd * kPriorSd), read = 1 / (sd_ln * sd_ln);
    return {std::exp((prior * std::log(kPrior_mohm) + read * std::log(read_mohm)) / (prior + read)), 1 / std::sqrt(prior + read)};
}
constexpr double kTenth = 1.2816;  // of a normal: 10 % lie so many sd below

void check_about(const GroundEstimate& told, const Combined& expected, double within = 0.06) {
    CHECK(told.middle_mohm == Approx(expected.middle).epsilon(within));
    CHECK(told.low_mohm == Approx(expected.middle * std::exp(-kTenth * expected.sd_ln)).epsilon(within));
    CHECK(told.high_mohm == Approx(expected.middle * std::exp(kTenth * expected.sd_ln)).epsilon(within));
}

double middle_at(double drop_v, const Job& job, bool at_rest = true) {
    GroundSeen seen;
    seen.drop_v = drop_v;
    seen.drop_at_rest = at_rest;
    return estimate_ground(seen, job, kStiff_hz).middle_mohm;
}
Job with_amplifier(std::optional<double> max_current_a, std::optional<double> power_w = {}, std::optional<double> supply_v = {}) {
    Job out;
    out.vehicle.supply_v = supply_v;
    out.amplifiers.resize(1);
    out.amplifiers[0].max_current_a = max_current_a;
    out.amplifiers[0].power_w = power_w;
    return out;
}

}  // namespace

TEST_CASE("where nothing was read the ground is what such joints are, and remaking it brings it to a good one", "[ground]") {
    const GroundEstimate told = estimate_ground({}, {}, kStiff_hz);
    CHECK_FALSE(told.measured);
    check_about(told, {kPrior_mohm, kPriorSd}, 0.04);
    // from about 10 to about 1 milliohm, the body's 0.1 in series with both, at a steady current
    CHECK(told.remade_db.value == Approx(20 * std::log10((kGoodGround_mohm + 0.1) / (kPrior_mohm + 0.1))).margin(0.3));
    CHECK(told.remade_db.sd == Approx(20 / std::log(10.0) * std::hypot(kPriorSd, 0.35)).epsilon(0.04));
    // outside hearing the ends of it count
    CHECK(estimate_ground({}, {}, 1.0).remade_db.value == estimate_ground({}, {}, 20.0).remade_db.value);
    CHECK(estimate_ground({}, {}, 90000.0).remade_db.value == estimate_ground({}, {}, 20000.0).remade_db.value);
    CHECK(estimate_ground({}, {}, 20.0).remade_db.value != estimate_ground({}, {}, 30.0).remade_db.value);
    CHECK(estimate_ground({}, {}, 19000.0).remade_db.value != estimate_ground({}, {}, 20000.0).remade_db.value);
}

TEST_CASE("a meter's drop over the idling current, the battery's strap taken off, is the ground and the body", "[ground]") {
    GroundSeen seen;
    seen.drop_v = 0.032;
    seen.drop_at_rest = true;
    // 2 mV at rest in the strap: 30 mV over 1.5 A is 20 milliohm, 0.1 of them the body; the current to 0.35, the meter to 0.1
    GroundEstimate told = estimate_ground(seen, {}, kStiff_hz);
    CHECK(told.measured);
    check_about(told, with_prior(19.9, std::hypot(0.35, 0.1)));
    // 15 mV of it are the strap's while the vehicle draws its current
    seen.drop_at_rest = false;
    CHECK(estimate_ground(seen, {}, kStiff_hz).middle_mohm < 0.8 * told.middle_mohm);
    // 45 mV less those leave as much, but the strap's current is hardly known: the joints' usual 10 milliohm weigh more
    seen.drop_v = 0.045;
    const double less_sure = estimate_ground(seen, {}, kStiff_hz).middle_mohm;
    CHECK(less_sure < told.middle_mohm);
    CHECK(less_sure > 1.2 * kPrior_mohm);
    // what is no reading
    for (const double none : {0.0, -0.03, std::numeric_limits<double>::infinity(), std::nan("")}) {
        seen.drop_v = none;
        told = estimate_ground(seen, {}, kStiff_hz);
        CHECK_FALSE(told.measured);
        CHECK(told.middle_mohm == Approx(kPrior_mohm).epsilon(0.04));
    }
}

TEST_CASE("amplifiers idle at some 3 % of what they draw, between 0.7 and 3 A each", "[ground]") {
    const double usual = middle_at(0.032, {});  // 1.5 A
    CHECK(middle_at(0.032, with_amplifier({})) == usual);
    CHECK(middle_at(0.032, with_amplifier(50)) == Approx(usual).epsilon(1e-9));
    for (const double none : {0.0, -50.0, std::numeric_limits<double>::infinity()}) CHECK(middle_at(0.032, with_amplifier(none)) == usual);
    CHECK(middle_at(0.032, with_amplifier(5)) == middle_at(0.032, with_amplifier(20)));  // 0.7 A
    CHECK(middle_at(0.032, with_amplifier(24)) < middle_at(0.032, with_amplifier(20)));
    CHECK(middle_at(0.032, with_amplifier(110)) == middle_at(0.032, with_amplifier(200)));  // 3 A
    CHECK(middle_at(0.032, with_amplifier(90)) > middle_at(0.032, with_amplifier(110)));
    Job two = with_amplifier(25);
    two.amplifiers.push_back(two.amplifiers[0]);
    two.amplifiers[1].max_current_a = 25.0;
    CHECK(middle_at(0.032, two) == Approx(usual).epsilon(1e-9));
    two.amplifiers[1].max_current_a = 75.0;  // 0.75 and 2.25 A
    CHECK(middle_at(0.032, two) == Approx(middle_at(0.032, with_amplifier(100))).epsilon(1e-9));
    // by its power where no current is stated, at the vehicle's voltage
    for (const double supply_v : {12.0, 24.0})
        CHECK(middle_at(0.032, with_amplifier({}, 450, supply_v)) == middle_at(0.032, with_amplifier(draw_of_power_a(450, supply_v))));
    CHECK(middle_at(0.032, with_amplifier({}, 450)) == middle_at(0.032, with_amplifier({}, 450, 12.0)));
    CHECK(middle_at(0.032, with_amplifier(50, 2000)) == Approx(usual).epsilon(1e-9));
    CHECK(middle_at(0.032, with_amplifier({}, -450)) == usual);
    CHECK(middle_at(0.032, with_amplifier({}, 0.8)) == middle_at(0.032, with_amplifier(5)));
}

TEST_CASE("what signal and supply current share is the ground, as far as the noise's current flows through it", "[ground]") {
    GroundSeen seen;
    seen.shared_mohm = Reading{12.0, 0.1, {}};
    // some 0.6 of the signal's, to 0.35
    GroundEstimate told = estimate_ground(seen, {}, kStiff_hz);
    CHECK(told.measured);
    check_about(told, with_prior(19.9, std::hypot(0.35, 0.1)), 0.08);
    seen.shared_mohm = Reading{12.0, 12.0, {}};  // hardly read
    check_about(estimate_ground(seen, {}, kStiff_hz), with_prior(19.9, std::hypot(0.35, 1.0)), 0.1);
    seen.shared_mohm = Reading{0.8, 0.01, {}};
    CHECK(estimate_ground(seen, {}, kStiff_hz).middle_mohm < 0.5 * kPrior_mohm);
    seen.shared_mohm = Reading{0.0, 0.1, {}};
    CHECK(estimate_ground(seen, {}, kStiff_hz).middle_mohm == Approx(kPrior_mohm).epsilon(0.04));
}

TEST_CASE("readings that contradict each other leave an estimate between them", "[ground]") {
    GroundSeen seen;
    seen.drop_v = 0.3;
    seen.drop_at_rest = true;  // 200 milliohm
    seen.shared_mohm = Reading{0.5, 0.01, {}};
    seen.strap = ChangeSeen{-60, 0.5};
    const GroundEstimate told = estimate_ground(seen, {}, kStiff_hz);
    CHECK(told.low_mohm < told.middle_mohm);
    CHECK(told.middle_mohm < told.high_mohm);
    CHECK(told.middle_mohm < 150);
}

TEST_CASE("a strap takes the share that ground, body and strap leave of a steady current", "[ground]") {
    GroundSeen seen;
    // over a strap of 15 milliohm, 1.5 of the source's own ground in series: 15 / (15 + 1.5 + ground + 0.1); half where the ground has 13.4
    seen.strap = ChangeSeen{20 * std::log10(0.5), 0.5};
    GroundEstimate told = estimate_ground(seen, {}, kStiff_hz);
    CHECK(told.measured);
    // strap to 0.25, source's ground to 0.7, the change to 0.5 dB: 3.75, 1.05 and 0.0576 of 30 milliohm
    Combined expected = with_prior(13.4, std::hypot(3.75 / 13.4, 1.05 / 13.4, 0.0576 * 30 / 13.4));
    CHECK(told.middle_mohm == Approx(expected.middle).epsilon(0.05));
    CHECK(told.high_mohm / told.low_mohm == Approx(std::exp(2 * kTenth * expected.sd_ln)).epsilon(0.2));
    seen.strap->sd_db = 0.01;  // no test is as sure as that
    CHECK(estimate_ground(seen, {}, kStiff_hz).middle_mohm == told.middle_mohm);
    seen.strap->sd_db = 0.6;
    CHECK(estimate_ground(seen, {}, kStiff_hz).middle_mohm != told.middle_mohm);
    seen.strap = ChangeSeen{20 * std::log10(0.25), 0.5};  // 43.4 milliohm
    told = estimate_ground(seen, {}, kStiff_hz);
    expected = with_prior(43.4, std::hypot(3 * 3.75 / 43.4, 1.05 / 43.4, 0.0576 * 60 / 43.4));
    CHECK(told.middle_mohm == Approx(expected.middle).epsilon(0.1));
    seen.strap->at_most = true;  // or more
    CHECK(estimate_ground(seen, {}, kStiff_hz).high_mohm > 1.1 * told.high_mohm);
}

TEST_CASE("the amplifier's branch of the supply gives way where cable and capacitors resonate", "[ground]") {
    const auto remade_db = [](std::optional<double> length_m, std::optional<double> area_mm2, std::optional<Conductor> conductor, double hz) {
        Job job;
        job.supply.length_m = length_m;
        job.supply.area_mm2 = area_mm2;
        job.supply.conductor = conductor;
        return estimate_ground({}, job, hz).remade_db.value;
    };
    // 5 m of 0.45 microhenry and 6 millifarad: 1370 Hz. A ground of 10 milliohm beside a branch of 26 takes 36/27 of the current away, 2.5 dB
    const double at_resonance = remade_db({}, {}, {}, 1370), stiff = remade_db({}, {}, {}, kStiff_hz);
    CHECK(at_resonance > stiff + 1.2);
    CHECK(at_resonance < stiff + 3.2);
    // 20 m, 9 microhenry: 685 Hz
    CHECK(remade_db(20.0, 80.0, {}, 685) > remade_db(20.0, 80.0, {}, 340) + 0.3);
    CHECK(remade_db(20.0, 80.0, {}, 685) > remade_db(20.0, 80.0, {}, 1370) + 0.3);
    // an octave to either side of it the branch is as stiff
    CHECK(remade_db(20.0, 80.0, {}, 342.5) == Approx(remade_db(20.0, 80.0, {}, 1369.8)).margin(0.1));
    // 5 m of 21 mm2 copper are usual; so is a length or an area that is none
    CHECK(remade_db(5.0, 21.0, Conductor::copper, 1370) == at_resonance);
    for (const double none : {0.0, -1.0, std::numeric_limits<double>::infinity()}) CHECK(remade_db(none, none, {}, 1370) == at_resonance);
    // copper-clad aluminium has 1.6 times the resistance, a thin cable more than a thick one
    CHECK(remade_db(5.0, 16.0, Conductor::copper_clad_aluminium, 1370) == Approx(remade_db(5.0, 10.0, Conductor::copper, 1370)).epsilon(1e-12));
    CHECK(remade_db(5.0, 5.0, {}, 1370) < remade_db(5.0, 50.0, {}, 1370) - 0.5);
}
