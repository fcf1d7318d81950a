#include "hushtrace/diagnose/power_analysis.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

#include "../../../src/diagnose/entry/ground_estimate.hpp"
#include "holds.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

AmplifierData drawing(const std::string& name, double current_a) {
    AmplifierData amplifier;
    amplifier.name = name;
    amplifier.max_current_a = current_a;
    return amplifier;
}

OpenedJob with(std::vector<AmplifierData> amplifiers) {
    OpenedJob opened;
    opened.job.amplifiers = std::move(amplifiers);
    return opened;
}

const PowerCable& part(const PowerAnalysis& analysis, const std::string& name) {
    const auto found = std::find_if(analysis.cables.begin(), analysis.cables.end(), [&](const PowerCable& one) { return one.part == name; });
    REQUIRE(found != analysis.cables.end());
    return *found;
}

bool noted(const PowerCable& cable, const std::string& words) {
    return std::any_of(cable.notes.begin(), cable.notes.end(), [&](const std::string& note) { return holds(note, words); });
}

}  // namespace

TEST_CASE("the main fuse is the smallest that carries all draws together", "[power]") {
    // common practice, no source: 30 A and 50 A take an 80 A fuse, 142 A takes a 150 A fuse
    const PowerAnalysis both = analyse_power(with({drawing("front", 30), drawing("sub", 50)}));
    CHECK(both.total_a == 80.0);
    CHECK(both.fuse_a == 80.0);
    CHECK(analyse_power(with({drawing("sub", 142)})).fuse_a == 150.0);
}

TEST_CASE("a fuse never goes above what the cable may stand behind: a thicker cable is the answer", "[power]") {
    OpenedJob job = with({drawing("sub", 142)});
    job.job.supply.area_mm2 = 21.2;  // 4 AWG, 135 A (common practice, no source)
    const PowerAnalysis thin = analyse_power(job);
    CHECK_FALSE(thin.fuse_a);
    CHECK(thin.fuse_reason == "cable_too_thin");
    CHECK(holds(thin.fuse_text, "thicker cable"));
    CHECK(part(thin, "feed").verdict == CableVerdict::too_thin);
    CHECK(part(thin, "feed").smallest->awg == 2);
    job.job.supply.area_mm2 = 33.6;  // 2 AWG
    CHECK(analyse_power(job).fuse_a == 150.0);
    job.job.supply.conductor = Conductor::copper_clad_aluminium;  // 215 A * sqrt(0.63) = 171 A
    CHECK(analyse_power(job).fuse_a == 150.0);
    job.job.supply.area_mm2 = 25.0;  // between rows: 135 A * 0.79
    const PowerAnalysis clad = analyse_power(job);
    CHECK_FALSE(clad.fuse_a);
    const auto& notes = part(clad, "feed").notes;
    CHECK(std::any_of(notes.begin(), notes.end(), [](const std::string& note) { return holds(note, "no row for 25 mm2"); }));
}

TEST_CASE("the drop is that of the worked example, and picks the cable where it rules", "[power]") {
    // tests/reference/copper_cable_voltage_drop_example.csv: 5 m of 4 AWG at 60 C and 60 A lose 0.282988 V; 0.25 V ask for 23.9415 mm2
    OpenedJob job = with({drawing("sub", 60)});
    job.job.supply = {5.0, 21.1506, Conductor::copper, 60.0, 0.25, {}};
    const PowerAnalysis analysis = analyse_power(job);
    CHECK(*analysis.drop_v == Approx(0.282988).epsilon(1e-4));
    const PowerCable& feed = part(analysis, "feed");
    CHECK(feed.verdict == CableVerdict::drops_too_much);
    CHECK(*feed.drop_area_mm2 == Approx(23.9415).epsilon(1e-4));
    CHECK(feed.smallest->area_mm2 == 25.0);
    CHECK(analysis.fuse_a == 60.0);  // it may still be fused: nothing burns
    job.job.supply.area_mm2 = 25.0;
    CHECK(part(analyse_power(job), "feed").verdict == CableVerdict::fits);
}

TEST_CASE("a branch that the main fuse would let burn gets a fuse of its own", "[power]") {
    OpenedJob job = with({drawing("front", 30), drawing("sub", 100)});
    job.job.supply.area_mm2 = 53.5;
    job.job.supply.branches = {{"front", 1.0, 8.37, {}}, {"sub", 1.0, 53.5, {}}, {"lamp", 2.0, 5.26, 40.0}};
    const PowerAnalysis analysis = analyse_power(job);
    CHECK(analysis.total_a == 170.0);  // the lamp's 40 A are nobody's amplifier
    CHECK(analysis.fuse_a == 175.0);
    const PowerCable& front = part(analysis, "branch front");
    CHECK(front.needs_fuse);
    CHECK(front.fuse_a == 30.0);
    const PowerCable& sub = part(analysis, "branch sub");
    CHECK_FALSE(sub.needs_fuse);
    CHECK_FALSE(sub.fuse_a);
    const PowerCable& lamp = part(analysis, "branch lamp");  // 40 A on 10 AWG, 30 A at most
    CHECK(lamp.verdict == CableVerdict::too_thin);
    CHECK_FALSE(lamp.fuse_a);
}

TEST_CASE("a draw that isn't known is estimated from power, or said to be missing", "[power]") {
    // common practice, no source: twice the power over the charging voltage: 2 x 500 / 14 = 71.4 A
    AmplifierData amplifier;
    amplifier.name = "sub";
    amplifier.power_w = 500;
    const PowerAnalysis estimated = analyse_power(with({amplifier}));
    REQUIRE(estimated.draws.size() == 1);
    CHECK(estimated.draws[0].estimated);
    CHECK(*estimated.total_a == Approx(71.43).epsilon(1e-3));
    CHECK(estimated.fuse_a == 80.0);
    CHECK(holds(estimated.draws[0].note, "1 output of 500 W; if it has more, name its channels"));
    // the rated power is one output's: as many as channels, but one for a sub, or where it is bridged
    amplifier.name = "front";
    amplifier.channels = {Channel::left, Channel::right};
    CHECK(*analyse_power(with({amplifier})).total_a == Approx(2 * 71.43).epsilon(1e-3));
    CHECK(holds(analyse_power(with({amplifier})).draws[0].note, "2 outputs of 500 W"));
    AmplifierData bridged = amplifier, sub = amplifier;
    bridged.bridged_output = true;
    sub.name = "sub";
    for (const AmplifierData& one : {bridged, sub}) CHECK(*analyse_power(with({one})).total_a == Approx(71.43).epsilon(1e-3));
    amplifier.power_w.reset();
    const PowerAnalysis unknown = analyse_power(with({amplifier}));
    CHECK_FALSE(unknown.total_a);
    CHECK_FALSE(unknown.fuse_a);
    CHECK(unknown.fuse_reason == "draw_unknown");
    CHECK(unknown.warnings.front().code == "draw_unknown");
    CHECK_THROWS_AS(analyse_power(with({})), Error);
}

TEST_CASE("each branch counts once, and the greater current of branch and amplifier counts", "[power]") {
    OpenedJob job = with({drawing("sub", 50)});
    job.job.supply.branches = {{"lamp", {}, {}, 3.0}, {"lamp", {}, {}, 60.0}};
    CHECK(analyse_power(job).total_a == 113.0);
    job.job.supply.branches = {{"", {}, {}, 3.0}, {"", {}, {}, 60.0}};
    CHECK(analyse_power(job).total_a == 113.0);
    job.job.supply.branches = {{"sub", 1.0, 21.2, 90.0}};  // its amplifier may draw 50 A
    const PowerAnalysis greater = analyse_power(job);
    CHECK(greater.total_a == 90.0);
    CHECK(greater.fuse_a == 100.0);
    CHECK(part(greater, "branch sub").current_a == 90.0);
    REQUIRE(greater.draws.size() == 1);
    CHECK(holds(greater.draws[0].note, "90 A"));
    CHECK(holds(greater.draws[0].note, "50 A"));
    job.job.supply.branches = {{"sub", 1.0, 21.2, 20.0}};
    const PowerAnalysis amplifiers = analyse_power(job);
    CHECK(amplifiers.total_a == 50.0);
    CHECK(part(amplifiers, "branch sub").current_a == 50.0);
    CHECK(noted(part(amplifiers, "branch sub"), "the greater counts"));
}

TEST_CASE("a branch's current stands in for its amplifier's, and nothing is said to be missing then", "[power]") {
    AmplifierData bare;
    bare.name = "sub";
    OpenedJob job = with({bare});
    job.job.supply.branches = {{"sub", 1.0, 8.37, 20.0}};
    const PowerAnalysis analysis = analyse_power(job);
    CHECK(analysis.total_a == 20.0);
    CHECK(analysis.warnings.empty());
    job.job.supply.branches[0].current_a.reset();
    CHECK(analyse_power(job).warnings.front().code == "draw_unknown");
}

TEST_CASE("two amplifiers of one name are told, and a branch can't be theirs", "[power]") {
    OpenedJob job = with({drawing("sub", 50), drawing("sub", 30)});
    const PowerAnalysis analysis = analyse_power(job);
    CHECK(analysis.total_a == 80.0);
    REQUIRE(analysis.warnings.size() == 1);
    CHECK(analysis.warnings[0].code == "amplifier_name_twice");
    job.job.supply.branches = {{"sub", 1.0, 21.2, {}}};
    CHECK_THROWS_AS(analyse_power(job), Error);
}

TEST_CASE("a cable that the table doesn't hold is not called too thin, and needs its fuse", "[power]") {
    OpenedJob job = with({drawing("sub", 50)});
    job.job.supply.area_mm2 = 21.2;
    job.job.supply.branches = {{"lamp", 2.0, 1.5, 3.0}, {"fan", 2.0, 1.5, 40.0}};
    const PowerAnalysis analysis = analyse_power(job);
    const PowerCable& lamp = part(analysis, "branch lamp");
    CHECK(lamp.verdict == CableVerdict::beyond_tables);
    CHECK(lamp.needs_fuse);
    CHECK_FALSE(lamp.fuse_a);
    CHECK(noted(lamp, "begins at 10 AWG"));
    CHECK(noted(lamp, "go by the cable maker's figure"));
    CHECK(noted(lamp, "a fuse of its own at the block"));
    // 40 A are more than 10 AWG may stand behind (30 A), so 1.5 mm2 can't
    CHECK(part(analysis, "branch fan").verdict == CableVerdict::too_thin);
    job = with({drawing("small", 20)});
    job.job.supply.area_mm2 = 4.0;
    const PowerAnalysis feed = analyse_power(job);
    CHECK(feed.fuse_reason == "beyond_tables");
    CHECK_FALSE(feed.fuse_a);
    CHECK(holds(feed.fuse_text, "maker's figure"));
    CHECK_FALSE(holds(feed.fuse_text, "part the feed"));
}

TEST_CASE("feed and branch share the drop that is allowed", "[power]") {
    // 1.7241e-8 ohm m at 20 C: 5 m of 21.15 mm2 at 88 A lose 0.359 V, and 1.4 m of 5.26 mm2 at 30 A 0.138 V; 5 m lose 0.492 V
    OpenedJob job = with({drawing("front", 30), drawing("sub", 58)});
    job.job.supply = {5.0, 21.15, Conductor::copper, 20.0, 0.5, {{"front", 1.4, 5.26, {}}}};
    const PowerAnalysis near = analyse_power(job);
    CHECK(part(near, "feed").verdict == CableVerdict::fits);
    CHECK(*part(near, "branch front").with_feed_v == Approx(0.3587 + 0.1377).epsilon(1e-3));
    CHECK(part(near, "branch front").verdict == CableVerdict::fits);
    job.job.supply.branches[0].length_m = 5.0;  // 0.492 V alone, which the 0.5 V would allow
    const PowerAnalysis far = analyse_power(job);
    const PowerCable& branch = part(far, "branch front");
    CHECK(*branch.drop_v == Approx(0.4917).epsilon(1e-3));
    CHECK(branch.verdict == CableVerdict::drops_too_much);
    CHECK(noted(branch, "0.49 V along it and 0.36 V along the feed make 0.85 V"));
    CHECK(branch.fuse_a == 30.0);
    // 1.7241e-8 x 5 m x 30 A over what the feed leaves, 0.1413 V
    CHECK(*branch.drop_area_mm2 == Approx(18.3).epsilon(0.01));
    CHECK(branch.smallest->awg == 4);
    job.job.supply.length_m = 8.0;  // the feed alone: 0.574 V
    const PowerAnalysis spent = analyse_power(job);
    CHECK(part(spent, "branch front").verdict == CableVerdict::drops_too_much);
    CHECK_FALSE(part(spent, "branch front").smallest);
    CHECK(noted(part(spent, "branch front"), "a thicker feed comes first"));
    job.job.supply.area_mm2.reset();
    CHECK(noted(part(analyse_power(job), "branch front"), "comes on top"));
}

TEST_CASE("what lies beyond the tables is said, not guessed", "[power]") {
    const PowerAnalysis huge = analyse_power(with({drawing("wall", 700)}));
    CHECK_FALSE(huge.fuse_a);
    CHECK(huge.fuse_reason == "beyond_tables");
    const PowerAnalysis large = analyse_power(with({drawing("wall", 400)}));  // a fuse there is, but no cable for it
    CHECK_FALSE(large.fuse_a);
    CHECK(large.fuse_reason == "beyond_tables");
}

TEST_CASE("ripple divides between the feed and the amplifier's capacitors", "[power]") {
    OpenedJob job = with({drawing("sub", 50)});
    job.job.supply = {5.0, 21.1506, Conductor::copper, 20.0, 0.5, {}};
    job.job.vehicle.alternator = {6.0, 2.5, 120.0};
    const PowerAnalysis analysis = analyse_power(job);
    REQUIRE(analysis.feed);
    CHECK(analysis.feed->line_hz == Approx(1200));  // six pulses: 6 x 6 x 2.5 x 800 / 60
    // The circuit by hand: L of a wire 10 mm over a plane, Paul 2006 ch. 4: 2e-7 acosh(10 / 2.5947) per metre
    const double inductance_h = 5.0 * 2e-7 * std::acosh(10.0 / 2.5947), omega = 2 * std::numbers::pi * 1200;
    CHECK(analysis.feed->inductance_h == Approx(inductance_h).epsilon(1e-3));
    const double along_r = 5.0 * 0.815153e-3, x = omega * inductance_h;
    CHECK(analysis.feed->impedance_ohm == Approx(std::hypot(along_r, x)).epsilon(1e-3));
    const double current_a = 0.05 / std::hypot(along_r + 0.015, x - 1 / (omega * 4e-3));
    CHECK(analysis.feed->ripple_a == Approx(current_a).epsilon(1e-3));
    CHECK(analysis.feed->ripple_v == Approx(current_a * std::hypot(0.015, 1 / (omega * 4e-3))).epsilon(1e-3));
    REQUIRE(analysis.reserve);
    CHECK(analysis.reserve->reserve_a == Approx(120 - 48 - 50.0 / 3));
    CHECK(analysis.reserve->idle_reserve_a == Approx(60 - 48 - 50.0 / 3));
}

TEST_CASE("where feed and capacitors resonate more stands at the amplifier than at the battery, and it is said", "[power]") {
    OpenedJob job = with({drawing("sub", 50)});
    job.job.supply = {5.0, 21.1506, Conductor::copper, 20.0, 0.5, {}};
    job.job.vehicle.alternator = {6.0, 2.5, 120.0};
    const PowerAnalysis analysis = analyse_power(job);
    // a series circuit: f = 1 / (2 pi sqrt(L C)); its voltage exceeds the source's where 2 L/C > R^2 - r^2
    const double inductance_h = 5.0 * 2e-7 * std::acosh(10.0 / 2.5947), capacitance_f = 4e-3, resistance = 5.0 * 0.815153e-3 + 0.015;
    CHECK(analysis.feed->resonance_hz == Approx(1 / (2 * std::numbers::pi * std::sqrt(inductance_h * capacitance_f))).epsilon(1e-3));
    REQUIRE(analysis.feed->worst);
    const auto stands = [&](double hz) {
        const double omega = 2 * std::numbers::pi * hz;
        return 0.05 * std::hypot(0.015, 1 / (omega * capacitance_f)) / std::hypot(resistance, omega * inductance_h - 1 / (omega * capacitance_f));
    };
    CHECK(analysis.feed->worst->ripple_v > 0.05);
    CHECK(analysis.feed->worst->ripple_v == Approx(stands(analysis.feed->worst->frequency_hz)).epsilon(1e-3));
    double highest = 0;
    for (double hz = 20; hz < 20000; hz += 1) highest = std::max(highest, stands(hz));
    CHECK(analysis.feed->worst->ripple_v == Approx(highest).epsilon(1e-3));
    CHECK(*analysis.feed->worst->rpm == Approx(analysis.feed->worst->frequency_hz / 1.5));  // 6 x 6 x 2.5 / 60 Hz per rpm
    job.job.supply.area_mm2 = 2.0;  // 58 milliohm damp it: 2 L/C = 1.6e-3 < 3.1e-3 ohm^2
    CHECK_FALSE(analyse_power(job).feed->worst);
}

TEST_CASE("the interface's noise is taken off the ripple, and its scale's uncertainty is in it", "[power]") {
    OpenedJob job = with({drawing("sub", 50)});
    job.job.interface.volts_full_scale = {20.0};
    Take take;
    take.file = "takes/supply.wav";
    take.channels = {Channel::supply};
    take.conditions.engine = Engine::idle;
    job.job.takes = {take};
    const auto read = [&] {
        return analyse_power(job, [](const Take&) {
            Block sound(1, 4 * 48000);
            for (std::size_t i = 0; i < sound.frames(); ++i)
                sound.channel(0)[i] = 0.01 * std::sin(2 * std::numbers::pi * 1187.0 * static_cast<double>(i) / 48000.0);
            return std::make_unique<MemoryReader>(std::move(sound), 48000.0);
        });
    };
    const double all_v = 20.0 * 0.01 / std::numbers::sqrt2;
    CHECK(read().ripple[0].volts.sd < 0.01 * all_v);
    job.job.interface.own_noise_dbv = {20 * std::log10(0.5 * all_v)};  // a quarter of its power
    CHECK(read().ripple[0].volts.value == Approx(all_v * std::sqrt(0.75)).epsilon(0.01));
    CHECK(read().ripple[0].volts.limited_by == LimitedBy::nothing);
    job.job.interface.own_noise_dbv = {20 * std::log10(0.9 * all_v)};
    CHECK(read().ripple[0].volts.value == Approx(all_v).epsilon(0.01));
    CHECK(read().ripple[0].volts.limited_by == LimitedBy::interface);
    job.job.interface.own_noise_dbv.clear();
    job.job.interface.volts_full_scale_sd_db = {0.5};  // 10^(0.5/20) = 1.0593
    CHECK(read().ripple[0].volts.sd == Approx(0.0593 * all_v).epsilon(0.02));
    job.job.takes[0].conditions.hookup = {Hookup::inputs_shorted};
    CHECK(read().ripple.empty());
}

TEST_CASE("the ground's estimate takes an amplifier's draw from its power by the same rule", "[power]") {
    Job by_power, by_current;
    by_power.amplifiers.resize(1);
    by_power.amplifiers[0].power_w = 500;
    by_current.amplifiers = {drawing("", 2.0 * 500 / 14)};  // 71.43 A, of which 3 % lie between the limits of what idles
    GroundSeen seen;
    seen.drop_v = 0.05;
    CHECK(estimate_ground(seen, by_power, 600.0).middle_mohm == Approx(estimate_ground(seen, by_current, 600.0).middle_mohm).epsilon(1e-9));
    by_current.amplifiers = {drawing("", 50)};
    CHECK(estimate_ground(seen, by_current, 600.0).middle_mohm > 1.1 * estimate_ground(seen, by_power, 600.0).middle_mohm);
}

TEST_CASE("a take of the supply tells its ripple in volts", "[power]") {
    OpenedJob job = with({drawing("sub", 50)});
    job.job.interface.volts_full_scale = {7.0, 20.0};
    Take take;
    take.file = "takes/supply.wav";
    take.channels = {Channel::left, Channel::supply};
    take.conditions.engine = Engine::idle;
    job.job.takes = {take};
    const PowerAnalysis analysis = analyse_power(job, [](const Take&) {
        Block sound(2, 4 * 48000);
        for (std::size_t i = 0; i < sound.frames(); ++i)
            sound.channel(1)[i] = 0.3 + 0.01 * std::sin(2 * std::numbers::pi * 1187.0 * static_cast<double>(i) / 48000.0);  // dc is no ripple
        return std::make_unique<MemoryReader>(std::move(sound), 48000.0);
    });
    REQUIRE(analysis.ripple.size() == 1);
    CHECK(analysis.ripple[0].volts.value == Approx(20.0 * 0.01 / std::numbers::sqrt2).epsilon(0.01));
    job.job.interface.volts_full_scale = {7.0};
    const PowerAnalysis bare = analyse_power(job, [](const Take&) { return std::make_unique<MemoryReader>(Block(2, 48000), 48000.0); });
    CHECK(bare.ripple.empty());
    CHECK(bare.warnings.back().code == "supply_not_calibrated");
}

TEST_CASE("high-voltage vehicles are left alone, and every job is told to take the battery off first", "[power]") {
    OpenedJob job = with({drawing("sub", 50)});
    const auto said = [&](const std::string& words) {
        const auto cautions = analyse_power(job).cautions;
        return std::any_of(cautions.begin(), cautions.end(), [&](const std::string& one) { return holds(one, words); });
    };
    CHECK(said("negative off first"));
    CHECK(said("Local code"));
    CHECK_FALSE(said("Orange cables"));
    job.job.vehicle.drive = Drive::hybrid;
    CHECK(said("Orange cables"));
}

TEST_CASE("24 V comes with a caution of its own, 12 V without", "[power]") {
    OpenedJob job = with({drawing("sub", 20)});
    const auto warned = [&] { return holds(analyse_power(job).cautions.front(), "24 to 12 V converter"); };
    CHECK_FALSE(warned());
    for (const double volts : {12.0, 14.4}) {
        job.job.vehicle.supply_v = volts;
        CHECK_FALSE(warned());
    }
    for (const double volts : {24.0, 28.0}) {
        job.job.vehicle.supply_v = volts;
        CHECK(warned());
    }
}
