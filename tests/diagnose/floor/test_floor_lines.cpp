#include <catch2/catch.hpp>

#include "../../../src/diagnose/floor/floor_record_parts.hpp"
#include "diagnose/floor_job.hpp"

using namespace hushtrace;
using namespace floor_job;

namespace {

using Words = std::vector<std::string>;

NoiseSource source_of(const std::string& id, NoiseKind kind, std::optional<double> frequency_hz) {
    NoiseSource out;
    out.id = id;
    out.kind = kind;
    out.frequency_hz = frequency_hz;
    out.takes = {"takes/idle.flac"};
    return out;
}
SourceTrace trace_of(const std::string& id, std::vector<double> track_hz, std::vector<double> ratios) {
    SourceTrace out;
    out.source_id = id;
    out.take = "takes/idle.flac";
    out.track.frequency_hz = std::move(track_hz);
    out.ratios = std::move(ratios);
    return out;
}

/// A take at idle, the first of the job, and one with the inputs shorted.
struct Bench {
    OpenedJob opened = job_of();
    NoiseAnalysis noise;
    FloorReading floor = reading_of("takes/idle.flac");

    Bench() {
        add_take(opened, "takes/idle.flac", Engine::idle);
        add_take(opened, "takes/shorted.flac", Engine::off).conditions.hookup = {Hookup::inputs_shorted};
    }
    std::vector<FloorLine> lines(std::vector<FloorTone> tones) {
        ChannelFloor out;
        out.floor = floor;
        out.floor.tones = std::move(tones);
        hold_to_ceiling({opened.job, noise, nullptr, opened.job.takes[0], 0}, out);
        return out.lines;
    }
    std::string name_at(double hz, bool wanders = false) { return lines({tone(hz, -80, wanders)}).at(0).name; }
};

}  // namespace

TEST_CASE("a line is named by the source whose line lies nearest, as near as it holds still or wanders", "[floor_lines]") {
    Bench bench;
    bench.noise.noise_sources = {source_of("fan-1", NoiseKind::motor_whine, std::nullopt)};
    bench.noise.traces = {trace_of("fan-1", {990, 1010}, {1.0, 0.1, 4.0})};  // at 1000, 100 and 4000 Hz
    for (const auto& [hz, wanders, wanted] : {std::tuple{1001.9, false, true},
                                              {1002.1, false, false},
                                              {997.9, false, false},
                                              {101.4, false, true},
                                              {101.6, false, false},
                                              {1009.9, true, true},
                                              {1010.1, true, false},
                                              {4007.9, false, true},
                                              {4008.1, false, false},
                                              {3959, true, false}}) {
        INFO(hz);
        CHECK(bench.name_at(hz, wanders) == (wanted ? "electric motor whine" : "not named"));
    }
    const FloorLine one = bench.lines({tone(1001, -80, true)}).at(0);
    CHECK(one.source_id == "fan-1");
    CHECK(one.frequency_hz == 1001);
    CHECK(one.wanders);
    CHECK(one.dbv->value == -80);
    CHECK(one.dbfs.value == Approx(-80 - 20 * std::log10(kVolts / std::sqrt(2.0))));
    CHECK_FALSE(one.below_ceiling_db);
    // of two the nearer, in whichever order they stand
    bench.noise.noise_sources.push_back(source_of("hum-1", NoiseKind::mains_hum, std::nullopt));
    bench.noise.traces.push_back(trace_of("hum-1", {1002}, {1.0}));
    CHECK(bench.name_at(1001.2) == "mains hum");
    CHECK(bench.name_at(1000.8) == "electric motor whine");
    std::swap(bench.noise.noise_sources[0], bench.noise.noise_sources[1]);
    CHECK(bench.name_at(1001.2) == "mains hum");
    CHECK(bench.name_at(1000.8) == "electric motor whine");
    // a source that isn't in the take, and a trace of another take or without a track
    bench.noise.noise_sources = {source_of("fan-1", NoiseKind::motor_whine, std::nullopt)};
    bench.noise.noise_sources[0].takes = {"takes/other.flac"};
    CHECK(bench.name_at(1000) == "not named");
    bench.noise.noise_sources[0].takes = {"takes/idle.flac"};
    CHECK(bench.name_at(1000) == "electric motor whine");
    bench.noise.traces[0].take = "takes/other.flac";
    CHECK(bench.name_at(1000) == "not named");
    bench.noise.traces = {trace_of("fan-1", {}, {1.0})};
    CHECK(bench.name_at(1000) == "not named");
}

TEST_CASE("without a track a source's lines are its harmonics in its loudest take; clicks make a comb of 40", "[floor_lines]") {
    Bench bench;
    bench.noise.noise_sources = {source_of("tick-1", NoiseKind::ignition_tick, std::nullopt)};
    NoiseSource& tick = bench.noise.noise_sources[0];
    tick.harmonics.resize(2);
    tick.harmonics[0].frequency_hz = 300;
    tick.harmonics[1].frequency_hz = 700;
    CHECK(bench.name_at(700) == "not named");
    tick.levels.resize(2);
    tick.levels[0].take = "takes/idle.flac";
    tick.levels[0].level_dbfs = -50;
    tick.levels[1].take = "takes/other.flac";
    tick.levels[1].level_dbfs = -60;
    CHECK(bench.name_at(700) == "ignition noise");
    CHECK(bench.name_at(300) == "ignition noise");
    CHECK(bench.name_at(500) == "not named");
    tick.levels[1].level_dbfs = -40;
    CHECK(bench.name_at(700) == "not named");
    bench.noise.traces = {trace_of("tick-1", {24, 26}, {})};
    for (const auto& [hz, wanted] : {std::pair{25.0, true}, {50.0, true}, {1000.0, true}, {0.1, false}, {1025.0, false}, {37.5, false}})
        CHECK(bench.name_at(hz) == (wanted ? "ignition noise" : "not named"));
}

TEST_CASE("a multiple of a source's frequency is named with its number", "[floor_lines]") {
    Bench bench;
    const auto named = [&](NoiseKind kind, std::optional<double> base_hz, double ratio) {
        bench.noise.noise_sources = {source_of("one", kind, base_hz)};
        bench.noise.traces = {trace_of("one", {50}, {ratio})};
        return bench.name_at(50 * ratio);
    };
    CHECK(named(NoiseKind::mains_hum, 50, 3) == "mains hum, 3 times 50 Hz");
    CHECK(named(NoiseKind::mains_hum, 50, 2) == "mains hum, 2 times 50 Hz");
    CHECK(named(NoiseKind::mains_hum, 50, 1) == "mains hum");
    CHECK(named(NoiseKind::mains_hum, 50, 3.019) == "mains hum, 3 times 50 Hz");
    CHECK(named(NoiseKind::mains_hum, 50, 2.981) == "mains hum, 3 times 50 Hz");
    CHECK(named(NoiseKind::mains_hum, 50, 3.021) == "mains hum");
    CHECK(named(NoiseKind::mains_hum, 50, 2.979) == "mains hum");
    CHECK(named(NoiseKind::mains_hum, std::nullopt, 3) == "mains hum");
    CHECK(named(NoiseKind::mains_hum, 0.0, 3) == "mains hum");
    CHECK(named(NoiseKind::mains_hum, 0.5, 3) == "mains hum, 300 times 0.5 Hz");
    CHECK(named(NoiseKind::alternator_whine, 50, 3) == "alternator whine");
    CHECK(named(NoiseKind::bus_tone, 49.96, 3) == "data bus tone, 3 times 50 Hz");
}

TEST_CASE("what wanders beside a louder named line is its sideband", "[floor_lines]") {
    Bench bench;
    bench.noise.noise_sources = {source_of("whine-1", NoiseKind::alternator_whine, 1000)};
    bench.noise.traces = {trace_of("whine-1", {1000}, {1.0})};
    const auto beside = [&](double hz, double level_dbv, bool wanders = true, bool main_wanders = true) {
        const FloorLine side = bench.lines({tone(1000, -70, main_wanders), tone(hz, level_dbv, wanders)}).at(1);
        CHECK((side.source_id == "whine-1") == (side.name == "beside the alternator whine"));
        return side.name == "beside the alternator whine";
    };
    CHECK(beside(1029.9, -76.1));
    CHECK_FALSE(beside(1030.1, -76.1));
    CHECK(beside(970.1, -76.1));
    CHECK_FALSE(beside(969.9, -76.1));
    CHECK_FALSE(beside(1020, -75.9));
    CHECK_FALSE(beside(1020, -90, false));
    CHECK_FALSE(beside(1020, -90, true, false));
    // nor beside a line without a name, nor is a line of the set-up's own
    bench.noise.floor = {reading_of("takes/shorted.flac", {tone(1020, -90)})};
    CHECK_FALSE(beside(1020, -90));
    CHECK(beside(1018, -90));
    bench.noise.noise_sources.clear();
    CHECK_FALSE(beside(1018, -90));
}

TEST_CASE("a line that a take with the inputs shorted holds as well is the set-up's own", "[floor_lines]") {
    Bench bench;
    bench.noise.floor = {reading_of("takes/lost.flac", {tone(500, -70)}), reading_of("takes/shorted.flac", {tone(100, -70), tone(500, -83)}),
                         reading_of("takes/idle.flac", {tone(900, -70)}), reading_of("takes/shorted.flac", {tone(900, -70)}, Channel::right)};
    const auto own = [&](double hz, double level_dbv) {
        const FloorLine one = bench.lines({tone(hz, level_dbv)}).at(0);
        const bool is_own = one.name == "the measuring set-up's own";
        CHECK((one.dbfs.limited_by == LimitedBy::interface) == is_own);
        CHECK((one.dbv->limited_by == LimitedBy::interface) == is_own);
        CHECK((one.name == "not named") == !is_own);
        return is_own;
    };
    CHECK(own(500, -80.1));
    CHECK_FALSE(own(500, -79.9));
    CHECK(own(501.4, -80.1));
    CHECK_FALSE(own(501.6, -80.1));
    CHECK(own(498.6, -80.1));
    CHECK_FALSE(own(498.4, -80.1));
    CHECK_FALSE(own(900, -80));
    // without volts too
    FloorTone plain = tone(500, -83);
    plain.dbv.reset();
    CHECK(bench.lines({plain}).at(0).dbfs.limited_by == LimitedBy::interface);
}

TEST_CASE("noise without lines that lies 12 dB over what was found to be hiss is no hiss", "[floor_lines]") {
    Bench bench;
    bench.floor.broadband = figure(-100);
    const double whole_dbfs = bench.floor.broadband.dbfs->value;
    bench.noise.noise_sources = {source_of("hiss-1", NoiseKind::hiss, std::nullopt)};
    NoiseSource& hiss = bench.noise.noise_sources[0];
    hiss.levels.resize(2);
    hiss.levels[1].take = "takes/idle.flac";
    hiss.levels[1].level_dbfs = whole_dbfs - 12.1;
    const auto limited_by = [&] {
        return held_hiss({bench.opened.job, bench.noise, nullptr, bench.opened.job.takes[0], 0}, bench.floor)->limited_by;
    };
    CHECK(limited_by() == LimitedBy::noise);
    hiss.levels[1].level_dbfs = whole_dbfs - 11.9;
    CHECK(limited_by() == LimitedBy::nothing);
    hiss.levels[1].level_dbfs.reset();
    CHECK(limited_by() == LimitedBy::nothing);
    hiss.levels[1].level_dbfs = whole_dbfs - 20;
    hiss.levels[1].channel = Channel::right;
    CHECK(limited_by() == LimitedBy::nothing);
    hiss.levels[1].channel = Channel::left;
    hiss.levels[1].take = "takes/other.flac";
    CHECK(limited_by() == LimitedBy::nothing);
    hiss.levels[1].take = "takes/idle.flac";
    hiss.kind = NoiseKind::crackle;
    CHECK(limited_by() == LimitedBy::nothing);
    hiss.kind = NoiseKind::hiss;
    bench.floor.broadband_a_weighted = figure(-104, LimitedBy::interface);
    CHECK(limited_by() == LimitedBy::interface);
    bench.floor.broadband_a_weighted = {};
    CHECK_FALSE(held_hiss({bench.opened.job, bench.noise, nullptr, bench.opened.job.takes[0], 0}, bench.floor));
}

TEST_CASE("lines bear the names of the sources that make them, and the set-up's own are told apart", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/idle.flac", Engine::idle);
    add_take(opened, "takes/shorted.flac", Engine::off).conditions.hookup = {Hookup::inputs_shorted};
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {reading_of("takes/idle.flac", {tone(1242, -70, true), tone(2480, -80, true), tone(150.02, -85), tone(8000, -74),
                                                  tone(1266, -92, true), tone(3333, -90)}),
                   reading_of("takes/shorted.flac", {tone(8000, -74.5)})};
    NoiseSource whine, hum;
    whine.id = "alternator_whine-1";
    whine.kind = NoiseKind::alternator_whine;
    whine.frequency_hz = 1240;
    hum.id = "mains_hum-1";
    hum.kind = NoiseKind::mains_hum;
    hum.frequency_hz = 50;
    whine.takes = hum.takes = {"takes/idle.flac"};
    noise.noise_sources = {whine, hum};
    for (const auto& [id, hz, ratios] :
         {std::tuple{"alternator_whine-1", 1240.0, std::vector{1.0, 2.0}}, {"mains_hum-1", 50.0, std::vector{1.0, 3.0}}}) {
        SourceTrace trace;
        trace.source_id = id;
        trace.take = "takes/idle.flac";
        trace.track.time_s = {0, 1};
        trace.track.frequency_hz = {hz, hz};
        trace.ratios = ratios;
        noise.traces.push_back(trace);
    }
    const FloorRecord record = floor_record(opened, noise, &gain);
    const ChannelFloor& left = record.conditions.at(0).channels.at(0);
    REQUIRE(left.lines.size() == 6);
    CHECK(left.lines[0].name == "alternator whine");
    CHECK(left.lines[1].source_id == "alternator_whine-1");
    CHECK(left.lines[2].name == "mains hum, 3 times 50 Hz");
    CHECK(left.lines[3].name == "the measuring set-up's own");
    CHECK(left.lines[3].below_ceiling_db->bound);
    CHECK(left.lines[4].name == "beside the alternator whine");
    CHECK(left.lines[5].name == "not named");
    CHECK(left.lines[5].source_id.empty());
    // the set-up's own line is louder than all but two, and doesn't count
    CHECK(left.amplifiers.at(0).loudest_line == 0U);
    CHECK(record.interface.size() == 1);
}

TEST_CASE("what wasn't followed makes the hiss a bound", "[floor_record]") {
    OpenedJob opened = job_of();
    opened.job.limits.hiss_below_full_power_db = -115;
    add_take(opened, "takes/idle.flac", Engine::idle);
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {reading_of("takes/idle.flac")};
    noise.floor[0].broadband = figure(-100);
    NoiseSource hiss;
    hiss.kind = NoiseKind::hiss;
    LevelInTake level;
    level.take = "takes/idle.flac";
    for (const auto& [below_db, wanted] : {std::pair{5.0, "fail"}, {20.0, "undecided"}}) {
        level.level_dbfs = noise.floor[0].broadband.dbfs->value - below_db;
        hiss.levels = {level};
        noise.noise_sources = {hiss};
        const FloorRecord record = floor_record(opened, noise, &gain);
        CHECK(verdict(record, "hiss_below_full_power_db")->verdict == wanted);
        CHECK(record.conditions[0].channels[0].dynamic_range_a_db->bound == (below_db > 10));
        CHECK_FALSE(record.conditions[0].channels[0].signal_to_noise_a_db->bound);
    }
}

TEST_CASE("the loudest take's level stands for a source", "[findings]") {
    NoiseSource source;
    CHECK(loudest_level(source) == nullptr);
    source.levels.resize(4);
    source.levels[1].level_dbfs = -60;
    source.levels[2].level_dbfs = -50;
    source.levels[3].level_dbfs = -55;
    CHECK(loudest_level(source) == &source.levels[2]);
}
