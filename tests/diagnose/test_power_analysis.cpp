#include "hushtrace/diagnose/power_analysis.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

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

bool holds(const std::string& text, const std::string& words) {
    return text.find(words) != std::string::npos;
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
    amplifier.power_w.reset();
    const PowerAnalysis unknown = analyse_power(with({amplifier}));
    CHECK_FALSE(unknown.total_a);
    CHECK_FALSE(unknown.fuse_a);
    CHECK(unknown.fuse_reason == "draw_unknown");
    CHECK(unknown.warnings.front().code == "draw_unknown");
    CHECK_THROWS_AS(analyse_power(with({})), Error);
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
