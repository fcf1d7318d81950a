#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "../../../src/diagnose/gain/gain_parts.hpp"
#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

constexpr double kRate = 8000, kTone_hz = 210;

/// A stretch of sound in one channel: a sine whose frequency goes evenly from one to the other.
struct Stretch {
    double seconds, from_hz, to_hz, amplitude;
};
JobInMemory take_of(const std::vector<Stretch>& stretches) {
    std::vector<double> samples;
    double turns = 0;
    for (const Stretch& one : stretches) {
        const auto frames = static_cast<std::size_t>(one.seconds * kRate);
        for (std::size_t n = 0; n < frames; ++n) {
            turns += (one.from_hz + (one.to_hz - one.from_hz) * static_cast<double>(n) / static_cast<double>(frames)) / kRate;
            samples.push_back(one.amplitude * std::sin(2 * std::numbers::pi * turns));
        }
    }
    JobInMemory job;
    Take take;
    take.file = "a.flac";
    take.channels = {Channel::left};
    take.tone = PlayedTone{Sine{kTone_hz, 0}, std::nullopt};
    job.opened.job.takes.push_back(take);
    Block block(1, samples.size());
    std::copy(samples.begin(), samples.end(), block.channel(0).begin());
    job.sound["a.flac"] = {std::move(block), kRate};
    return job;
}
void add_sine(JobInMemory& job, double hz, double amplitude, double from_s, double to_s) {
    for (auto n = static_cast<std::size_t>(from_s * kRate); n < static_cast<std::size_t>(to_s * kRate); ++n)
        job.sound["a.flac"].first.channel(0)[n] += amplitude * std::sin(2 * std::numbers::pi * hz * static_cast<double>(n) / kRate);
}
GainCurve curve_of(const JobInMemory& job) {
    std::vector<Warning> warnings;
    const auto open = [&](const Take& one) { return std::make_unique<MemoryReader>(job.sound.at(one.file).first, job.sound.at(one.file).second); };
    return read_curves(job.opened, job.opened.job.takes[0], open, warnings).at(0);
}

}  // namespace

TEST_CASE("of other tones the longest is named, a sweep none", "[gain][tones]") {
    const auto other = [](const std::vector<Stretch>& stretches) { return curve_of(take_of(stretches)).other_tone_hz.value_or(0); };
    CHECK(other({{0.3, 100, 100, 0}, {0.6, 450, 450, 0.1}, {0.3, 100, 100, 0}, {1.0, 600, 600, 0.1}}) == Approx(600).margin(0.1));
    CHECK(other({{0.3, 100, 100, 0}, {1.0, 450, 450, 0.1}, {0.3, 100, 100, 0}, {0.6, 600, 600, 0.1}}) == Approx(450).margin(0.1));
    CHECK(other({{0.6, 450, 450, 0.1}, {1.9, 600, 600, 0.1}}) == Approx(600).margin(0.1));
    // 50 Hz a second: half a bin of 20 Hz, which counts as one frequency, in 0.2 s
    CHECK(other({{3.0, 450, 600, 0.1}}) == 0);
    CHECK(other({{3.0, 450, 460, 0.1}}) > 0);
    // one level: 2 % a frame count as another
    std::vector<Stretch> rising;
    for (int i = 0; i < 40; ++i) rising.push_back({0.05, 450, 450, 0.05 * std::pow(1.03, i)});
    CHECK(other(rising) == 0);
    CHECK(other({{0.25, 450, 450, 0.1}, {0.25, 450, 450, 0.05}, {0.25, 450, 450, 0.1}}) == 0);
    CHECK(other({{1.0, 450, 450, 0.0029}}) == 0);
    CHECK(other({{1.0, 450, 450, 0.0031}}) > 0);
    CHECK(other({{1.0, 100, 100, 0}}) == 0);
}

TEST_CASE("the middle of what was found is the take's tone, whatever one step holds", "[gain][tones]") {
    // 213 Hz is 1.4 % off: 14000 ppm
    const auto of = [](double first_hz, double second_hz, double third_hz) {
        return curve_of(take_of({{0.8, first_hz, first_hz, 0.1}, {0.8, second_hz, second_hz, 0.2}, {0.8, third_hz, third_hz, 0.4}}));
    };
    for (const GainCurve& one : {of(210, 213, 210), of(213, 210, 210), of(210, 210, 213)}) {
        CHECK(one.curve.steps.size() == 3);
        CHECK_FALSE(one.other_tone_hz);
    }
    REQUIRE(of(213, 210, 213).other_tone_hz);
    CHECK(*of(213, 210, 213).other_tone_hz == Approx(213).margin(0.05));
}

TEST_CASE("the tone is read where it was said to be, though a louder one sounds beside it", "[gain][tones]") {
    const auto with_beside = [](double amplitude) {
        JobInMemory job = take_of({{2.0, kTone_hz, kTone_hz, 0.1}});
        add_sine(job, 1510, amplitude, 0, 2);
        return curve_of(job);
    };
    const GainCurve one = with_beside(0.15);
    REQUIRE(one.curve.steps.size() == 1);
    CHECK(one.curve.steps[0].frequency_hz == Approx(kTone_hz).margin(0.01));
    CHECK(one.curve.steps[0].level_dbfs == Approx(-20).margin(0.01));
    CHECK_FALSE(one.other_tone_hz);
    // crests of more than twice the tone's drown it
    CHECK(one.drowned);
    CHECK(with_beside(0.11).drowned);
    CHECK_FALSE(with_beside(0.09).drowned);
}

TEST_CASE("a tone is drowned by the most of its time, wherever that lies", "[gain][tones]") {
    for (const auto& [first_s, drowned] : {std::pair{0.6, true}, {0.4, false}}) {
        JobInMemory job = take_of({{2.0, kTone_hz, kTone_hz, 0.1}});
        add_sine(job, 1510, 0.15, 0, first_s);
        add_sine(job, 1510, 0.15, 2 - first_s, 2);
        CHECK(curve_of(job).drowned == drowned);
    }
}

TEST_CASE("of a long step its middle is read", "[gain][tones]") {
    // 2 % of another tone but for the middle 1.6 s of 4
    JobInMemory job = take_of({{4.0, kTone_hz, kTone_hz, 0.1}});
    add_sine(job, 1510, 0.002, 0, 1.2);
    add_sine(job, 1510, 0.002, 2.8, 4);
    const GainCurve one = curve_of(job);
    REQUIRE(one.curve.steps.size() == 1);
    CHECK(one.curve.steps[0].thd_noise_percent < 0.05);
    CHECK(one.curve.steps[0].end_s - one.curve.steps[0].start_s == Approx(4.0).margin(0.1));
    add_sine(job, 1510, 0.002, 1.2, 2.8);
    CHECK(curve_of(job).curve.steps.at(0).thd_noise_percent == Approx(2).epsilon(0.05));
}

TEST_CASE("a whole job: its limit, knee, volume law, amplifier and what hangs on them", "[gain][tones]") {
    Source source;
    source.rate = kRate;
    source.tone_hz = kTone_hz;
    source.stops = staircase(-12.2, 2.0, 6);
    for (Stop& stop : source.stops) stop.duration_s = 0.7;
    source.channels = {hard(0.5)};
    source.channel_gain = {1.0};
    source.lead_in_s = source.lead_out_s = 0.3;
    JobInMemory job;
    job.opened.job.interface.volts_full_scale = {8.0};
    AmplifierData amplifier;
    amplifier.name = "front";
    amplifier.power_w = 100;
    amplifier.load_ohm = 4;
    amplifier.sensitivity_v = {0.2, 6.0};
    job.opened.job.amplifiers = {amplifier};
    job.add("a.flac", source, volumes_from(20, 6));
    Source quiet = source;
    quiet.stops.clear();
    quiet.lead_in_s = 2;
    quiet.noise_rms = 1e-4;
    job.add("off.flac", quiet, {}).tone.reset();
    Source output = source;
    output.stops = {Stop{-12.2, 0.7}};
    output.channels = {hard(2)};
    Take& out = job.add("out.flac", output, {});
    out.conditions.point = Point::amp_output;
    out.conditions.volume = 20;
    GainAnalysis told = job.analyse();
    CHECK(told.limit_thd_percent == 1.0);
    REQUIRE(told.ceiling);
    CHECK(told.ceiling->volume == 23.0);
    REQUIRE(told.curves.at(0).knee);
    CHECK(told.curves[0].knee->kind == "hard");
    CHECK(told.curves[0].knee->dbfs->value == Approx(20 * std::log10(0.5)).margin(0.05));
    REQUIRE(told.volume_law);
    CHECK(told.volume_law->rise_db == Approx(2.0).margin(0.01));
    REQUIRE(told.amplifiers.size() == 1);
    const AmplifierSetting& front = told.amplifiers[0];
    CHECK(front.dial);
    CHECK(front.output_readings.size() == 1);
    REQUIRE(front.noise_parts);
    // 1e-4 of 8 V
    CHECK(front.noise_parts->total_dbv == Approx(20 * std::log10(8e-4)).margin(0.3));
    CHECK_FALSE(front.splits.empty());
    job.opened.job.limits.ceiling_thd_percent = 10.0;
    told = job.analyse();
    CHECK(told.limit_thd_percent == 10.0);
    CHECK(told.ceiling->volume == 24.0);  // 1.8 dB over the rail: 8.4 % (clipped_sine.csv: 10 % at 2.17 dB)
    // a sub's channel that a crossover keeps the tone from
    source.channels = {hard(0.5), hard(0.5)};
    source.channel_gain = {1.0, 0.1};
    JobInMemory two;
    two.add("a.flac", source, volumes_from(20, 6)).channels = {Channel::left, Channel::sub};
    CHECK(warned(two.analyse(), "crossover"));
}
