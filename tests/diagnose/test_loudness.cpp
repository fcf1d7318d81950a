#include "hushtrace/diagnose/loudness.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/vehicle/hearing.hpp"

using namespace hushtrace;

namespace {

/// A whine of one line at the amplifier's input.
NoiseAnalysis whine_at(double level_dbv, double frequency_hz, Engine engine = Engine::idle) {
    NoiseAnalysis analysis;
    NoiseSource& source = analysis.noise_sources.emplace_back();
    source.kind = NoiseKind::alternator_whine;
    source.frequency_hz = frequency_hz;
    source.level_dbfs = source.level_dbv = level_dbv;
    Loudness loudness;
    loudness.take = "takes/idle.flac";
    loudness.engine = engine;
    loudness.level_dbv = level_dbv;
    loudness.lines = {{frequency_hz, 0.0}};
    source.loudness = loudness;
    return analysis;
}

Job system_of(double preout_v, std::string name = "front") {
    Job job;
    AmplifierData amplifier;
    amplifier.name = name;
    amplifier.power_w = 100.0;
    amplifier.load_ohm = 4.0;
    job.amplifiers.push_back(amplifier);
    SpeakerData speaker;
    speaker.amplifier = name;
    speaker.sensitivity_db_2v83_1m = 90.0;
    speaker.distance_m = 1.0;
    job.speakers.push_back(speaker);
    if (preout_v > 0) job.source.preout_v = preout_v;
    return job;
}

const Loudness& judged(const Job& job, NoiseAnalysis& analysis, const GainAnalysis* gain = nullptr) {
    judge_loudness(job, analysis, gain);
    return *analysis.noise_sources.front().loudness;
}

}  // namespace

TEST_CASE("sound pressure at the ear is that of the trade's table", "[loudness]") {
    // a speaker of 90 dB (2.83 V, 1 m) behind a gain of 20 dB: 100 uV make 24 dB SPL, 1 mV 44 (derived, DESIGN's trade notes:
    // they take 1 W for 2.83 V and round to whole decibels); 100 W into 4 ohm from 2 V is a gain of 20 dB
    for (const auto& [volts, spl] : {std::pair{30e-6, 10.5}, {100e-6, 21.0}, {1e-3, 41.0}}) {
        NoiseAnalysis analysis = whine_at(20 * std::log10(volts), 1240);
        const double by_hand = 90 + 20 * std::log10(volts * 10 / 2.83);
        CHECK(*judged(system_of(2.0), analysis).ear_db_spl == Approx(by_hand).margin(1e-9));
        CHECK(by_hand == Approx(spl).margin(0.1));
    }
}

TEST_CASE("a whine is inaudible, audible parked or audible driving by its level alone", "[loudness]") {
    std::string before = "inaudible";
    int changes = 0;
    for (double dbv = -120; dbv < -20; dbv += 0.5) {
        NoiseAnalysis analysis = whine_at(dbv, 1240);
        const Loudness& loudness = judged(system_of(2.0), analysis);
        CHECK(*loudness.over_threshold_db == Approx(*loudness.ear_db_spl - hearing_threshold_db_spl(1240)).margin(1e-9));
        if (loudness.audible == before) continue;
        ++changes;
        CHECK(loudness.audible == (before == "inaudible" ? "audible_parked" : "audible_driving"));
        const Cabin cabin = before == "inaudible" ? Cabin::idling : Cabin::driving;
        CHECK(*loudness.ear_db_spl == Approx(audible_from_db_spl(cabin, 1240)).margin(0.5));
        before = loudness.audible;
    }
    CHECK(changes == 2);
    // with the engine off the cabin is quieter
    NoiseAnalysis idle = whine_at(-88, 1240), off = whine_at(-88, 1240, Engine::off);
    CHECK(judged(system_of(2.0), idle).audible == "inaudible");
    CHECK(judged(system_of(2.0), off).audible == "audible_parked");
    CHECK(idle.noise_sources.front().loudness->text.find("inaudible, even parked") != std::string::npos);
}

TEST_CASE("what isn't known is said, never guessed", "[loudness]") {
    NoiseAnalysis analysis = whine_at(-60, 1240);
    const auto lacks = [&](const Job& job, const char* what) {
        const Loudness& loudness = judged(job, analysis);
        INFO(loudness.text);
        CHECK(loudness.audible == "unknown");
        CHECK(!loudness.ear_db_spl);
        CHECK(!loudness.over_threshold_db);
        CHECK(loudness.text.find(what) != std::string::npos);
    };
    lacks(Job{}, "power_w");
    lacks(system_of(0), "preout_v");
    Job silent = system_of(2.0);
    silent.speakers.clear();
    lacks(silent, "sensitivity_db_2v83_1m");
    analysis.noise_sources.front().loudness->level_dbv.reset();
    lacks(system_of(2.0), "not calibrated");
    // a job with nothing lacking becomes unknown again when it is judged anew without
    analysis = whine_at(-60, 1240);
    CHECK(judged(system_of(2.0), analysis).audible == "audible_driving");
    lacks(Job{}, "power_w");
}

TEST_CASE("a range of gains gives a verdict where both of its ends agree", "[loudness]") {
    Job job = system_of(0);
    job.amplifiers.front().sensitivity_v = std::array{0.2, 4.0};
    NoiseAnalysis loud = whine_at(-35, 1240), faint = whine_at(-125, 1240), between = whine_at(-80, 1240);
    CHECK(judged(job, loud).audible == "audible_driving");
    CHECK(judged(job, faint).audible == "inaudible");
    CHECK(judged(job, between).audible == "unknown");
    CHECK(!between.noise_sources.front().loudness->ear_db_spl);
    CHECK(between.noise_sources.front().loudness->text.find("0.2 to 4 V") != std::string::npos);
    // the gain that was found from the takes wins
    GainAnalysis gain;
    gain.amplifiers.emplace_back();
    gain.amplifiers.front().name = "front";
    gain.amplifiers.front().gain_db = 20.0;
    CHECK(*judged(job, between, &gain).ear_db_spl == Approx(90 - 80 + 20 - 20 * std::log10(2.83)).margin(1e-9));
}

TEST_CASE("a subwoofer doesn't play a whine", "[loudness]") {
    NoiseAnalysis whine = whine_at(-50, 1240), hum = whine_at(-30, 100);
    CHECK(judged(system_of(2.0, "sub"), whine).audible == "unknown");
    CHECK(judged(system_of(2.0, "sub"), hum).audible != "unknown");
}

TEST_CASE("hiss is held against the ear's filters one by one", "[loudness]") {
    NoiseAnalysis analysis = whine_at(-80, 1240, Engine::off);
    NoiseSource& source = analysis.noise_sources.front();
    source.kind = NoiseKind::hiss;
    source.band_hz = {20.0, 20000.0};
    source.loudness->lines.clear();
    const Loudness& loudness = judged(system_of(2.0), analysis);
    // near 3 to 4 kHz the threshold is lowest: of 27 dB SPL over 20 kHz some 16 dB less fall into a filter of 450 Hz
    CHECK(*loudness.over_threshold_db == Approx(*loudness.ear_db_spl - 16.5 + 5.8).margin(1.5));
}
