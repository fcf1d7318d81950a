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

TEST_CASE("how sure the sound pressure is follows from what the gain rests on", "[loudness]") {
    // the speaker's 4 dB with 1 dB of a gain that was found or stated and 3 dB of one that was matched by a voltage
    const double full_db = 20 * std::log10(20.0), ear_db = 90 - 50 - 20 * std::log10(2.83);   // 100 W into 4 ohm; -50 dBV at a gain of 0 dB
    GainAnalysis gain;
    gain.amplifiers.resize(3);
    gain.amplifiers[0].name = "rear";
    gain.amplifiers[0].gain_db = 44.0;
    gain.amplifiers[1].name = "front";   // one whose gain isn't known
    gain.amplifiers[2].name = "front";
    gain.amplifiers[2].gain_db = 23.0;
    struct Case {
        std::optional<std::array<double, 2>> sensitivity_v;
        double preout_v;
        const GainAnalysis* gain;
        double gain_db, gain_sd_db;
        const char* why;
    };
    using Range = std::array<double, 2>;
    const Case cases[] = {
        {{}, 0, &gain, 23, 1, "with the gain as it must be set"},
        {Range{0.2, 4}, 2, &gain, 23, 1, "with the gain as it must be set"},
        {{}, 2, nullptr, full_db - 20 * std::log10(2.0), 3, "with the gain set for the source's 2 V"},
        {Range{0.2, 4}, 2, nullptr, full_db - 20 * std::log10(2.0), 3, "with the gain set for the source's 2 V"},
        {Range{4, 0.2}, 8, nullptr, full_db - 20 * std::log10(4.0), 3, "with the gain set for the source's 8 V"},   // as far down as it goes
        {Range{0.2, 4}, 0.1, nullptr, full_db - 20 * std::log10(0.2), 3, "with the gain set for the source's 0.1 V"},
        {Range{1.0, 1.04}, 0, nullptr, full_db, 1, "with the amplifier's stated sensitivity"},
        {Range{1.0, 1.055}, 0, nullptr, full_db, 0, "over the amplifier's range of 1 to 1.055 V"},
        {Range{1.055, 1.0}, -1, nullptr, full_db, 0, "over the amplifier's range of 1 to 1.055 V"},
    };
    for (const Case& one : cases) {
        INFO(one.why);
        Job job = system_of(0);
        job.amplifiers[0].sensitivity_v = one.sensitivity_v;
        if (one.preout_v != 0) job.source.preout_v = one.preout_v;
        NoiseAnalysis analysis = whine_at(-50, 1240);
        analysis.noise_sources[0].loudness->sd_db = 2.0;
        const Loudness& loudness = judged(job, analysis, one.gain);
        REQUIRE(loudness.ear_db_spl);
        CHECK(*loudness.ear_db_spl == Approx(ear_db + one.gain_db).margin(1e-9));
        CHECK(*loudness.ear_sd_db == Approx(std::sqrt(one.gain_sd_db * one.gain_sd_db + 16 + 4)));
        CHECK(loudness.text.find(one.why) != std::string::npos);
    }
    // 0.5 dB apart and more it is a range
    for (const double high_v : {1.057, 1.061}) {
        Job job = system_of(0);
        job.amplifiers[0].sensitivity_v = Range{1.0, high_v};
        NoiseAnalysis analysis = whine_at(-50, 1240);
        CHECK(judged(job, analysis).ear_db_spl.has_value() == (high_v < 1.0593));
    }
    for (const Range& senseless : {Range{0.0, 4.0}, Range{0.2, 0.0}, Range{-1.0, 4.0}}) {
        Job job = system_of(0);
        job.amplifiers[0].sensitivity_v = senseless;
        NoiseAnalysis analysis = whine_at(-50, 1240);
        CHECK(judged(job, analysis).audible == "unknown");
    }
}

TEST_CASE("a verdict is said with its figures, and whether it is a close call", "[loudness]") {
    // 3 dB of the gain and 4 dB of the speaker are 5 dB; with the hearing's 5 and the cabin's 6 dB sqrt(86), half of which is 4.64
    const double ear_at_0_dbv = 90 + 20 - 20 * std::log10(2.83);
    const double parked_db = audible_from_db_spl(Cabin::idling, 1240), driving_db = audible_from_db_spl(Cabin::driving, 1240);
    struct Case {
        double ear_db;
        const char* text;
        bool close;
    };
    for (const Case& one : {Case{parked_db - 4.7, "inaudible, even parked", false}, {parked_db - 4.6, "inaudible, even parked", true},
                            {parked_db + 4.6, "audible parked, masked when driving", true},
                            {parked_db + 4.7, "audible parked, masked when driving", false},
                            {driving_db - 4.7, "audible parked, masked when driving", false},
                            {driving_db - 4.6, "audible parked, masked when driving", true},
                            {driving_db + 4.6, "audible, in town traffic too", true}, {driving_db + 4.7, "audible, in town traffic too", false}}) {
        INFO(one.ear_db << ": " << one.text);
        NoiseAnalysis analysis = whine_at(one.ear_db - ear_at_0_dbv, 1240);
        const std::string text = judged(system_of(2.0), analysis).text;
        CHECK(text.starts_with(one.text + std::string(one.close ? " (a close call): " : ": ")));
        CHECK(text.find(std::to_string(std::lround(one.ear_db)) + " dB SPL at the ear (±10), ") != std::string::npos);
        CHECK(text.find("noise round it") == std::string::npos);
    }
    for (const auto& [over_db, words] : {std::pair{12.4, "; 12 dB over the noise round it"}, {-12.4, "; 12 dB below the noise round it"},
                                         {0.3, "; 0 dB over"}, {-0.6, "; 1 dB below"}}) {
        NoiseAnalysis analysis = whine_at(-60, 1240);
        analysis.noise_sources[0].loudness->over_floor_db = over_db;
        CHECK(judged(system_of(2.0), analysis).text.find(words) != std::string::npos);
        CHECK(judged(Job{}, analysis).text.find(words) != std::string::npos);
    }
    NoiseAnalysis crackle = whine_at(-60, 1240);
    crackle.noise_sources[0].kind = NoiseKind::crackle;
    CHECK(judged(system_of(2.0), crackle).text.find("crackle is heard by its peaks") != std::string::npos);
    CHECK(judged(system_of(2.0), crackle).audible == "unknown");
    CHECK(!judged(system_of(2.0), crackle).ear_db_spl);
    // a range says both of its ends, and both verdicts where they differ
    Job range = system_of(0);
    range.amplifiers[0].sensitivity_v = std::array{0.2, 2.0};
    NoiseAnalysis wide = whine_at(parked_db + 10 - 20 - ear_at_0_dbv, 1240), loud = whine_at(driving_db + 10 - ear_at_0_dbv, 1240);
    const std::string both = "of 0.2 to 2 V: from 'inaudible, even parked' to 'audible parked, masked when driving'";
    CHECK(judged(range, wide).text.find(" dB SPL at the ear over the amplifier's range " + both) != std::string::npos);
    CHECK(judged(range, wide).text.starts_with(std::to_string(std::lround(parked_db - 10)) + " to " + std::to_string(std::lround(parked_db + 10))));
    CHECK(judged(range, loud).text.find(" V: audible, in town traffic too") != std::string::npos);
}

TEST_CASE("what is missing is told by its fields in job.json", "[loudness]") {
    NoiseAnalysis analysis = whine_at(-60, 1240);
    const auto text = [&](const Job& job) { return judged(job, analysis).text; };
    CHECK(text(Job{}) ==
          "at the ear unknown (job.json lacks amplifiers: power_w, load_ohm, source: preout_v, speakers: sensitivity_db_2v83_1m, distance_m)");
    CHECK(text(system_of(0)) == "at the ear unknown (job.json lacks source: preout_v)");
    Job job = system_of(2.0);
    job.speakers[0].sensitivity_db_2v83_1m.reset();
    CHECK(text(job) == "at the ear unknown (job.json lacks speakers: sensitivity_db_2v83_1m, distance_m)");
    job = system_of(0);
    job.amplifiers[0].load_ohm.reset();
    job.amplifiers[0].sensitivity_v = std::array{0.2, 4.0};
    CHECK(text(job) == "at the ear unknown (job.json lacks amplifiers: power_w, load_ohm)");
    job = system_of(2.0);
    job.speakers[0].amplifier = "another";
    CHECK(text(job) == "at the ear unknown (job.json lacks a speaker that belongs to an amplifier of known gain)");
    analysis.noise_sources[0].loudness->level_dbv.reset();
    CHECK(text(job) == "at the ear unknown (not calibrated)");
    analysis.noise_sources[0].loudness.reset();
    judge_loudness(system_of(2.0), analysis);
    CHECK(!analysis.noise_sources[0].loudness);
}

TEST_CASE("of several amplifiers that one counts by which it is heard best", "[loudness]") {
    for (const bool first_is_louder : {true, false}) {
        Job job = system_of(2.0), other = system_of(2.0, "rear");
        job.amplifiers.push_back(other.amplifiers[0]);
        job.speakers.push_back(other.speakers[0]);
        job.speakers[first_is_louder ? 0 : 1].sensitivity_db_2v83_1m = 96.0;
        NoiseAnalysis analysis = whine_at(-60, 1240);
        CHECK(*judged(job, analysis).ear_db_spl == Approx(96 - 60 + 20 - 20 * std::log10(2.83)).margin(1e-9));
    }
    // a subwoofer, whoever spells it how: loud, but of these two lines it plays the one below 250 Hz alone
    Job job = system_of(2.0), sub = system_of(2.0, "My SUBwoofer");
    job.amplifiers.push_back(sub.amplifiers[0]);
    job.speakers.push_back(sub.speakers[0]);
    job.speakers[1].sensitivity_db_2v83_1m = 100.0;
    NoiseAnalysis analysis = whine_at(-60, 1240);
    analysis.noise_sources[0].loudness->lines = {{249, -60.0}, {251, 0.0}};
    CHECK(*judged(job, analysis).ear_db_spl == Approx(90 - 40 - 20 * std::log10(2.83)).margin(1e-9));
    analysis.noise_sources[0].loudness->lines = {{249, 0.0}, {251, -60.0}};
    CHECK(*judged(job, analysis).ear_db_spl == Approx(100 - 40 - 20 * std::log10(2.83)).margin(1e-9));
    CHECK(*judged(job, analysis).over_threshold_db == Approx(100 - 40 - 20 * std::log10(2.83) - hearing_threshold_db_spl(249)));
    analysis.noise_sources[0].loudness->lines = {{250, 0.0}, {251, -60.0}};
    CHECK(*judged(job, analysis).ear_db_spl == Approx(90 - 40 - 20 * std::log10(2.83)).margin(1e-9));
}

TEST_CASE("noise over a band is so much of the whole as falls into the ear's filter", "[loudness]") {
    struct Case {
        std::optional<std::pair<double, double>> band_hz;
        const char* amplifier;
        double best_hz, width_hz;   // 0: nothing that can be heard
    };
    // filters beside each other: of 35.5 Hz at 100, 39.3 at 135.5, 43.6 at 174.8 and 48.3 at 218.4
    const double fourth_hz = 218.38;
    for (const Case& one : {Case{std::pair{20.0, 110.0}, "front", 100, 90}, {std::pair{300.0, 310.0}, "front", 300, 10},
                            {std::pair{20.0, 99.0}, "front", 0, 0},
                            {std::pair{12000.0, 20000.0}, "front", 12000, 8000}, {std::pair{12600.0, 20000.0}, "front", 0, 0},
                            {std::nullopt, "sub", fourth_hz, 7900}, {std::pair{20.0, 20000.0}, "sub", fourth_hz, 19980},
                            {std::pair{240.0, 20000.0}, "sub", 240, 19760},
                            {std::pair{255.0, 20000.0}, "sub", 0, 0}}) {
        INFO(one.amplifier << ", best at " << one.best_hz);
        NoiseAnalysis analysis = whine_at(-40, 1240, Engine::off);
        analysis.noise_sources[0].loudness->lines.clear();
        analysis.noise_sources[0].band_hz = one.band_hz;
        const Loudness& loudness = judged(system_of(2.0, one.amplifier), analysis);
        REQUIRE(loudness.ear_db_spl.has_value() == (one.best_hz > 0));
        if (!loudness.ear_db_spl) continue;
        CHECK(*loudness.over_threshold_db ==
              Approx(*loudness.ear_db_spl + 10 * std::log10(erb_hz(one.best_hz) / one.width_hz) - hearing_threshold_db_spl(one.best_hz))
                  .margin(0.003));
    }
    // clicks reach to 8 kHz: their clearest part lies in the filter near 3.4 kHz, where the threshold is lowest
    NoiseAnalysis clicks = whine_at(-40, 1240);
    clicks.noise_sources[0].loudness->lines.clear();
    const Loudness& loudness = judged(system_of(2.0), clicks);
    CHECK(*loudness.over_threshold_db == Approx(*loudness.ear_db_spl + 10 * std::log10(erb_hz(3700) / 7900) + 5.7).margin(0.15));
}
