#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

#include "holds.hpp"
#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

/// Amplifiers by their largest currents, named a, b, c ...; 5 m of 21.15 mm2 of copper at 20 C, 0.5 V allowed.
OpenedJob drawing(const std::vector<double>& currents_a) {
    OpenedJob out;
    for (const double current_a : currents_a) {
        AmplifierData one;
        one.name = std::string(1, static_cast<char>('a' + out.job.amplifiers.size()));
        one.max_current_a = current_a;
        out.job.amplifiers.push_back(one);
    }
    out.job.supply = {5.0, 21.15, Conductor::copper, 20.0, 0.5, {}};
    return out;
}

const PowerCable& part(const PowerAnalysis& analysis, const std::string& name) {
    const auto found = std::find_if(analysis.cables.begin(), analysis.cables.end(), [&](const PowerCable& one) { return one.part == name; });
    REQUIRE(found != analysis.cables.end());
    return *found;
}

bool holds(const std::vector<std::string>& all, const std::string& words) {
    return std::any_of(all.begin(), all.end(), [&](const std::string& one) { return one.find(words) != std::string::npos; });
}

}  // namespace

TEST_CASE("feed and return are listed first, alike in cable and current", "[power]") {
    const PowerAnalysis out = analyse_power(drawing({50}));
    REQUIRE(out.cables.size() == 2);
    const PowerCable &feed = out.cables[0], &ground = out.cables[1];
    CHECK(feed.part == "feed");
    CHECK(feed.needs_fuse);
    CHECK(feed.fuse_a == 50.0);
    CHECK(feed.current_a == 50.0);
    CHECK(feed.length_m == 5.0);
    CHECK(feed.temperature_c == 20.0);
    // 1.7241e-8 ohm m: 5 m of 21.15 mm2 are 4.0759 milliohm
    CHECK(feed.resistance_ohm.value_or(0) == Approx(1.7241e-8 * 5.0 / 21.15e-6));
    CHECK(out.drop_v == feed.drop_v);
    CHECK(feed.verdict == CableVerdict::fits);
    CHECK(feed.notes.empty());
    CHECK(ground.part == "ground");
    CHECK(ground.area_mm2 == 21.15);
    CHECK(ground.current_a == 50.0);
    CHECK_FALSE(ground.length_m);
    CHECK_FALSE(ground.needs_fuse);
    CHECK(ground.verdict == CableVerdict::fits);
    CHECK(holds(ground.notes, "as thick as the feed"));
    CHECK(holds(ground.notes, "observation ground_drop"));
    CHECK(holds(out.fuse_text, "50 A together ask for a 50 A fuse, as close to the battery as can be"));
    CHECK_FALSE(holds(out.fuse_text, "It needs a cable"));
    CHECK_FALSE(out.allowed_drop_assumed);
    CHECK_FALSE(out.temperature_assumed);
    CHECK(out.assumptions.size() == 1);   // of ripple alone
    CHECK_FALSE(out.reserve);
}

TEST_CASE("what nobody stated is assumed, and said", "[power]") {
    OpenedJob job = drawing({50});
    job.job.supply = {};
    const PowerAnalysis out = analyse_power(job);
    CHECK(out.allowed_drop_assumed);
    CHECK(out.allowed_drop_v == Approx(0.5));   // 0.5 V of 12 V (common practice, no source)
    CHECK(out.temperature_assumed);
    CHECK(out.cables[0].temperature_c == 60.0);
    CHECK(out.cables[0].conductor == Conductor::copper);
    CHECK(out.cables[0].verdict == CableVerdict::not_stated);
    CHECK(out.cables[0].smallest->awg == 8);    // 55 A
    CHECK(holds(out.fuse_text, "It needs a cable of 8 AWG"));
    CHECK(holds(out.cables[0].notes, "its length isn't known"));
    CHECK(holds(out.assumptions, "0.5 V may be lost along feed and branch together"));
    CHECK(holds(out.assumptions, "the cable is at 60 C"));
    CHECK(holds(out.assumptions, "the cable is copper"));
    CHECK_FALSE(holds(out.assumptions, "twice its power"));
    job.job.vehicle.supply_v = 24.0;
    CHECK(analyse_power(job).allowed_drop_v == Approx(1.0));
    // from its power: 2 * 500 W over 28 V
    job.job.amplifiers[0].max_current_a.reset();
    job.job.amplifiers[0].power_w = 500;
    const PowerAnalysis by_power = analyse_power(job);
    CHECK(by_power.total_a.value_or(0) == Approx(1000.0 / 28.0));
    CHECK(holds(by_power.assumptions, "twice its power over 28 V"));
    job.job.amplifiers[0].max_current_a = 0.0;   // as good as unknown
    CHECK(analyse_power(job).total_a.value_or(0) == Approx(1000.0 / 28.0));
    job.job.amplifiers[0].power_w = 0.0;
    const PowerAnalysis none = analyse_power(job);
    CHECK(none.fuse_reason == "draw_unknown");
    CHECK(holds(none.fuse_text, "Nothing says what the amplifiers draw"));
    CHECK(none.cables.empty());
    REQUIRE(none.warnings.size() == 1);
    CHECK(holds(none.warnings[0].text, "a: neither its largest current nor its power is known; it is left out"));
    CHECK_FALSE(none.feed);
    // one of two is left out, the other counts
    job.job.amplifiers.push_back(drawing({30}).job.amplifiers[0]);
    job.job.amplifiers[1].name.clear();
    const PowerAnalysis some = analyse_power(job);
    CHECK(some.total_a == 30.0);
    REQUIRE(some.draws.size() == 1);
    CHECK(some.draws[0].name == "amplifier 2");   // nameless: by its place
    CHECK_FALSE(some.draws[0].estimated);
}

TEST_CASE("a feed that loses too much, or is too thin, says what to take", "[power]") {
    OpenedJob job = drawing({100});
    // 100 A along 5 m of 21.15 mm2 lose 0.408 V
    job.job.supply.allowed_drop_v = 0.4;
    const PowerAnalysis loses = analyse_power(job);
    CHECK(loses.cables[0].verdict == CableVerdict::drops_too_much);
    CHECK(loses.fuse_a == 100.0);
    CHECK(holds(loses.cables[0].notes, "it carries its fuse, but loses 0.41 V where 0.4 V are allowed: take 25 mm2 or more"));
    job.job.supply.allowed_drop_v = 0.05;   // 172 mm2: thicker than any
    CHECK(holds(analyse_power(job).cables[0].notes, "allowed: take two in parallel"));
    job.job.supply.allowed_drop_v = 0.41;
    CHECK(analyse_power(job).cables[0].notes.empty());
    job.job.supply.area_mm2 = 13.3;   // 6 AWG stands behind 80 A
    const PowerAnalysis thin = analyse_power(job);
    CHECK(thin.cables[0].verdict == CableVerdict::too_thin);
    CHECK(thin.fuse_reason == "cable_too_thin");
    CHECK(holds(thin.fuse_text, "100 A together ask for a 100 A fuse, but the cable stands behind 80 A at most"));
    CHECK(holds(thin.fuse_text, "a thicker cable is the answer, not a larger fuse (4 AWG"));
    CHECK_FALSE(holds(thin.cables[0].notes, "loses"));   // it must go anyway
    job.job.supply.area_mm2 = 2.0;
    CHECK(holds(analyse_power(job).fuse_text, "the cable is thinner than any that the table lets stand behind a main fuse"));
    CHECK(holds(analyse_power(job).cables[0].notes, "2 mm2: the table of largest fuses begins at 10 AWG (5.26 mm2)"));
    CHECK_FALSE(holds(analyse_power(job).cables[0].notes, "cable maker's figure"));
    job.job.supply.area_mm2 = 25.0;
    CHECK(holds(analyse_power(job).cables[0].notes, "no row for 25 mm2: the row of 21.2 mm2 holds, 135 A"));
    job.job.supply.conductor = Conductor::copper_clad_aluminium;
    CHECK(holds(analyse_power(job).cables[0].notes, "copper-clad aluminium: 63 % of copper's conductance"));
}

TEST_CASE("a main fuse beyond the tables asks for two feeds or the maker's figure", "[power]") {
    const PowerAnalysis huge = analyse_power(drawing({300, 300}));
    CHECK(huge.fuse_reason == "beyond_tables");
    CHECK(holds(huge.fuse_text, "600 A together is more than the largest fuse of the tables (500 A): part the feed into two"));
    CHECK(huge.cables[0].verdict == CableVerdict::beyond_tables);
    OpenedJob job = drawing({400});   // more than 345 A, for which the largest cable of the table stands
    job.job.supply.area_mm2.reset();
    const PowerAnalysis no_cable = analyse_power(job);
    CHECK(no_cable.fuse_reason == "beyond_tables");
    CHECK(holds(no_cable.fuse_text, "400 A together ask for a 400 A fuse, for which the tables have no single cable"));
    job = drawing({20});
    job.job.supply.area_mm2 = 4.0;
    const PowerAnalysis small = analyse_power(job);
    CHECK(small.fuse_reason == "beyond_tables");
    CHECK(holds(small.fuse_text, "20 A together ask for a 20 A fuse, but the cable is thinner than the table of largest fuses begins with (10 AWG)"));
    CHECK(holds(small.fuse_text, "or take 10 AWG (5.26 mm2) or more. It needs a fuse all the same."));
    CHECK(holds(small.cables[0].notes, "go by the cable maker's figure"));
    job.job.amplifiers[0].max_current_a = 31.0;   // 10 AWG would stand behind 30 A
    CHECK(analyse_power(job).fuse_reason == "cable_too_thin");
}

TEST_CASE("branches are sized by what they feed, and say what protects them", "[power]") {
    OpenedJob job = drawing({30, 100});
    job.job.supply.area_mm2 = 53.5;
    job.job.supply.branches = {{"a", 1.0, 8.37, {}}, {"b", 1.0, 53.5, {}}, {"", 2.0, {}, 12.0}, {"lamp", 2.0, 5.26, 40.0}, {"spare", 1.0, 8.37, {}}};
    const PowerAnalysis out = analyse_power(job);
    CHECK(out.total_a == 182.0);
    REQUIRE(out.draws.size() == 4);
    CHECK(out.draws[2].name == "branch 3");
    CHECK(out.draws[2].current_a == 12.0);
    CHECK_FALSE(out.draws[2].estimated);
    CHECK(out.draws[3].name == "lamp");
    CHECK(part(out, "branch a").fuse_a == 30.0);
    CHECK(holds(part(out, "branch a").notes, "a fuse of its own at the block: the main fuse would let it burn"));
    CHECK(holds(part(out, "branch b").notes, "the main fuse protects it too"));
    const PowerCable& bare = part(out, "branch 3");
    CHECK(bare.verdict == CableVerdict::not_stated);
    CHECK(bare.needs_fuse);
    CHECK(bare.fuse_a == 15.0);
    CHECK(bare.smallest->awg == 10);
    CHECK_FALSE(bare.with_feed_v);
    CHECK(holds(part(out, "branch lamp").notes, "40 A ask for a 40 A fuse, more than this cable may stand behind: take 8 AWG (8.37 mm2) or more"));
    CHECK_FALSE(part(out, "branch lamp").fuse_a);
    REQUIRE(out.warnings.size() == 1);
    CHECK(out.warnings[0].code == "branch_current_unknown");
    CHECK(holds(out.warnings[0].text, "branch spare: no current is given"));
    CHECK(out.cables.size() == 6);   // not the spare one
    CHECK(part(out, "branch a").with_feed_v.value_or(0) == Approx(*out.drop_v + *part(out, "branch a").drop_v));
}

TEST_CASE("what a branch and its amplifier say apart is noted with the branch that it corrects", "[power]") {
    OpenedJob job = drawing({50});
    job.job.supply.branches = {{"a", 1.0, 21.2, 20.0}};
    CHECK(holds(part(analyse_power(job), "branch a").notes, "the branch of that name states 20 A, the amplifier 50 A: the greater counts"));
    job.job.supply.branches[0].current_a = 50.0;
    CHECK(analyse_power(job).draws.at(0).note.empty());
    job.job.supply.branches[0].current_a = 70.0;
    CHECK(holds(analyse_power(job).draws.at(0).note, "states 70 A, the amplifier 50 A"));
    CHECK_FALSE(holds(part(analyse_power(job), "branch a").notes, "the greater counts"));   // it is its own
    job.job.amplifiers[0].max_current_a.reset();
    CHECK(analyse_power(job).draws.at(0).note == "as its branch states");
    CHECK_FALSE(analyse_power(job).draws.at(0).estimated);
    job.job.amplifiers[0].power_w = 100;   // 14.3 A
    CHECK(analyse_power(job).total_a == 70.0);
    CHECK_FALSE(analyse_power(job).draws.at(0).estimated);
    job.job.supply.branches[0].current_a = 10.0;
    CHECK(analyse_power(job).draws.at(0).estimated);
    // the larger of two branches of one name
    job.job.supply.branches = {{"a", 1.0, 21.2, 20.0}, {"a", 1.0, 21.2, 40.0}, {"a", 1.0, 21.2, 30.0}};
    CHECK(analyse_power(job).total_a == 40.0);
    job.job.supply.branches = {{"a", 1.0, 21.2, 0.5}};
    job.job.amplifiers[0].power_w.reset();
    CHECK(analyse_power(job).total_a == 0.5);
}

TEST_CASE("what feed and branch lose together is held against what is allowed", "[power]") {
    // the feed loses 50 A * 4.076 milliohm = 0.204 V; 3 m of 5.26 mm2 at 30 A 0.295 V
    OpenedJob job = drawing({30, 20});
    job.job.supply.branches = {{"a", 3.0, 5.26, {}}};
    CHECK(part(analyse_power(job), "branch a").verdict == CableVerdict::fits);
    CHECK(part(analyse_power(job), "branch a").notes.size() == 1);   // its fuse
    job.job.supply.branches[0].length_m = 3.1;                      // 0.305 V
    const PowerAnalysis far = analyse_power(job);
    CHECK(part(far, "branch a").verdict == CableVerdict::drops_too_much);
    CHECK(holds(part(far, "branch a").notes, "make 0.51 V, where 0.5 V are allowed: take 6 mm2 or more, or a thicker feed"));
    // a branch without a cable yet, behind a feed that leaves nothing
    job.job.supply.allowed_drop_v = 0.2;
    job.job.supply.branches[0].area_mm2.reset();
    const PowerAnalysis spent = analyse_power(job);
    CHECK(holds(part(spent, "branch a").notes,
                "the feed loses 0.20 V of the 0.2 V allowed, which leaves too little for a branch: a thicker feed comes first"));
    job.job.supply.allowed_drop_v = 0.3;
    CHECK_FALSE(holds(part(analyse_power(job), "branch a").notes, "leaves too little"));
    job.job.supply.allowed_drop_v = 0.205;   // 1 mV is left: thicker than any
    CHECK(holds(part(analyse_power(job), "branch a").notes, "a thicker feed comes first"));
    job.job.supply.length_m.reset();
    CHECK(holds(part(analyse_power(job), "branch a").notes, "the feed's drop isn't known"));
    job.job.supply.branches[0].length_m.reset();
    CHECK_FALSE(holds(part(analyse_power(job), "branch a").notes, "the feed's drop isn't known"));
}

TEST_CASE("small currents and unknown lengths are figures like others", "[power]") {
    OpenedJob job = drawing({0.5});
    job.job.amplifiers[0].power_w = 100.0;   // the stated current wins, however small
    job.job.supply.branches = {{"lamp", 1.0, 5.26, 0.5}};
    const PowerAnalysis small = analyse_power(job);
    CHECK(small.total_a == 1.0);
    CHECK(part(small, "branch lamp").current_a == 0.5);
    CHECK(small.warnings.empty());
    job.job.supply.length_m = 0.0;   // as good as unknown
    CHECK_FALSE(analyse_power(job).drop_v);
    CHECK_FALSE(analyse_power(job).cables[0].drop_area_mm2);
    // behind a feed of unknown length a branch is held against all that is allowed
    job = drawing({30});
    job.job.supply.length_m.reset();
    job.job.supply.branches = {{"a", 3.0, 5.26, {}}};   // 0.295 V
    CHECK(part(analyse_power(job), "branch a").verdict == CableVerdict::fits);
    job.job.supply.branches[0].length_m = 6.0;          // 0.590 V
    CHECK(part(analyse_power(job), "branch a").verdict == CableVerdict::drops_too_much);
    CHECK(part(analyse_power(job), "branch a").smallest->area_mm2 == Approx(8.37).epsilon(0.01));   // 6.2 mm2 and more
    CHECK_FALSE(part(analyse_power(job), "branch a").with_feed_v);
}

TEST_CASE("the alternator's reserve is what music and the vehicle leave", "[power]") {
    OpenedJob job = drawing({90});
    job.job.vehicle.alternator.rated_a = 100.0;
    const PowerAnalysis out = analyse_power(job);
    REQUIRE(out.reserve);
    CHECK(out.reserve->rated_a == 100.0);
    CHECK(out.reserve->music_a == Approx(30.0));
    CHECK(out.reserve->vehicle_a == Approx(40.0));
    CHECK(out.reserve->reserve_a == Approx(30.0));
    CHECK(out.reserve->idle_reserve_a == Approx(-20.0));
    CHECK(holds(out.assumptions, "alternator: music draws a third"));
    job.job.vehicle.alternator.rated_a = 0.0;
    CHECK_FALSE(analyse_power(job).reserve);
}

TEST_CASE("ripple is reckoned at 1 kHz where the alternator isn't known", "[power]") {
    OpenedJob job = drawing({50});
    job.job.cables.above_metal_m = 0.02;
    const PowerAnalysis out = analyse_power(job);
    REQUIRE(out.feed);
    CHECK(out.feed->line_hz == 1000.0);
    CHECK_FALSE(out.feed->line_known);
    // L of a wire 20 mm over a plane, Paul 2006 ch. 4: 2e-7 acosh(20 / 2.5947) per metre
    CHECK(out.feed->inductance_h == Approx(5.0 * 2e-7 * std::acosh(20.0 / 2.5947)).epsilon(1e-3));
    CHECK(holds(out.assumptions, "ripple: 50 mV at the battery, 4 mF and 15 mohm behind the amplifiers' terminals, the feed 20 mm above the body"));
    if (out.feed->worst) CHECK_FALSE(out.feed->worst->rpm);
    job.job.vehicle.alternator.pole_pairs = 6.0;   // half of it says nothing
    CHECK_FALSE(analyse_power(job).feed->line_known);
    job.job.vehicle.alternator.pulley_ratio = 1.0;
    CHECK(analyse_power(job).feed->line_known);
    CHECK(analyse_power(job).feed->line_hz == Approx(480.0));   // 6 * 6 pulses a turn, 800 turns a minute
    job.job.vehicle.alternator.pulley_ratio = 0.0;
    CHECK_FALSE(analyse_power(job).feed->line_known);
    job.job.cables.above_metal_m = 0.0;            // it lies on its own insulation, 3 mm
    CHECK(analyse_power(job).feed->inductance_h == Approx(5.0 * 2e-7 * std::acosh((2.5947 + 3.0) / 2.5947)).epsilon(1e-3));
    job.job.supply.length_m.reset();
    CHECK_FALSE(analyse_power(job).feed);
}

TEST_CASE("takes of the supply that can't be told in volts are left out with their reason", "[power]") {
    OpenedJob job = drawing({50});
    job.job.interface.volts_full_scale = {20.0, 20.0};
    Take take;
    take.file = "takes/supply.wav";
    take.channels = {Channel::left, Channel::supply};
    take.conditions.engine = Engine::raised;
    job.job.takes = {take};
    double amplitude = 0.01;
    std::size_t channels = 2;
    const auto read = [&] {
        return analyse_power(job, [&](const Take&) {
            Block sound(channels, 12000);
            for (std::size_t i = 0; i < sound.frames(); ++i)
                sound.channel(channels - 1)[i] = amplitude * std::sin(2 * std::numbers::pi * 1000.0 * static_cast<double>(i) / 12000.0);
            return std::make_unique<MemoryReader>(std::move(sound), 12000.0);
        });
    };
    const PowerAnalysis good = read();
    REQUIRE(good.ripple.size() == 1);
    CHECK(good.ripple[0].take == "takes/supply.wav");
    CHECK(good.ripple[0].engine == Engine::raised);
    CHECK(good.ripple[0].volts.value == Approx(20.0 * 0.01 / std::numbers::sqrt2).epsilon(0.01));
    CHECK(good.takes == std::vector<std::string>{"takes/supply.wav"});
    CHECK(good.warnings.empty());
    const auto warned = [&](const std::string& code, const std::string& words) {
        const PowerAnalysis out = read();
        CHECK(out.ripple.empty());
        CHECK(out.takes.empty());
        REQUIRE(out.warnings.size() == 1);
        CHECK(out.warnings[0].code == code);
        CHECK(holds(out.warnings[0].text, words));
        CHECK(out.warnings[0].take == std::optional<std::string>("takes/supply.wav"));
    };
    for (const TakeFault fault : {TakeFault::overload, TakeFault::dropout}) {
        job.job.takes[0].faults = {fault};
        warned("supply_take_faulty", "samples were lost or overloaded");
    }
    job.job.takes[0].faults = {TakeFault::source_muted};
    CHECK(read().ripple.size() == 1);
    amplitude = 0.0;
    warned("supply_silent", "digital silence");
    channels = 1;
    amplitude = 0.01;
    warned("take_unreadable", "left out: it has fewer channels than job.json says");
    job.job.takes[0].channels = {Channel::left};
    CHECK(read().warnings.empty());
}
