// What a source did to a capture, or the interface's range: overload, muted outputs, silence, offset, channels alike.
#include <cmath>
#include <limits>

#include <catch2/catch.hpp>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/tone_programme.hpp"
#include "measure/found_faults.hpp"

using namespace hushtrace;
using std::numbers::pi;

TEST_CASE("overload is found at the rail and just below it, not in a source that clips", "[capture_faults]") {
    LossyTone tone;
    tone.frequency_hz = 200;
    tone.snr_db = 70;
    tone.amplitude = 1.3;
    auto samples = tone.samples();
    SECTION("at the rail") {
        for (double& sample : samples) sample = std::clamp(sample, -1.0, 1.0);
        const auto faults = faults_in(samples);
        CHECK(faults.has_overload());
        CHECK(faults.overload_count == Approx(2 * 200 * 4).margin(4));
        CHECK(count_of(faults, CaptureFaultKind::overload) == 1);
        CHECK(faults.events[0].time_s < 0.01);
    }
    SECTION("a converter whose end is at 0.95") {
        for (double& sample : samples) sample = std::clamp(sample, -0.95, 0.95);
        CHECK(faults_in(samples).has_overload());
    }
    SECTION("a source that clips, seen through an analogue path") {
        tone.amplitude = 0.93;
        tone.clip_at = 0.9;
        tone.snr_db = 80;
        CHECK_FALSE(faults_in(tone.samples()).has_overload());
    }
    SECTION("a clean tone near full scale") {
        tone.amplitude = 0.99;
        CHECK_FALSE(faults_in(tone.samples()).has_overload());
    }
}

TEST_CASE("a source that mutes its output is recognised", "[capture_faults]") {
    LossyTone tone;
    tone.duration_s = 10;
    auto samples = tone.samples();
    std::mt19937_64 generator(9);
    std::normal_distribution<double> floor(0, 1e-5);
    SECTION("and comes back") {
        for (std::size_t i = 200000; i < 260000; ++i) samples[i] = floor(generator);
        const auto faults = faults_in(samples);
        REQUIRE(faults.has_source_muted());
        CHECK(faults.events[0].time_s == Approx(200000 / 48000.0).margin(0.03));
        CHECK(faults.events[0].duration_s == Approx(60000 / 48000.0).margin(0.05));
        CHECK(faults.dropout_count == 0);
    }
    SECTION("for good") {
        for (std::size_t i = 200000; i < samples.size(); ++i) samples[i] = floor(generator);
        CHECK(faults_in(samples).has_source_muted());
    }
    SECTION("or does not") {
        CHECK_FALSE(faults_in(samples).has_source_muted());
    }
}

TEST_CASE("remarks name silence, offset and equal channels; short takes are marked", "[capture_faults]") {
    Block block(4, 24000);
    for (std::size_t i = 0; i < 24000; ++i) {
        block.channel(0)[i] = block.channel(1)[i] = 0.1 * std::sin(0.13 * static_cast<double>(i));
        block.channel(2)[i] = 0.05 + 0.01 * std::sin(0.2 * static_cast<double>(i));
    }
    CaptureFaultFinder finder(48000, 4);
    finder.add(block);
    const auto faults = finder.result();
    CHECK(faults.too_short);
    REQUIRE(faults.remarks.size() == 3);
    CHECK(faults.remarks[0].code == "same_as_channel");
    CHECK(faults.remarks[1].code == "dc_offset");
    CHECK(faults.remarks[2].code == "digital_silence");
}

TEST_CASE("a tone file's end, gap and closing marker are no mute", "[capture_faults]") {
    const double level_dbfs = GENERATE(0.0, -20.0);
    auto samples = render_programme(Sine{997, level_dbfs}, 3, 48000);
    std::mt19937_64 generator(4);
    std::normal_distribution<double> floor(0, 1e-5);
    for (double& sample : samples) sample = 0.4 * sample + floor(generator);
    samples.resize(samples.size() + 48000 * 2, 1e-6);
    for (const auto& frequency : {std::optional<double>(997.0), std::optional<double>()}) {
        CaptureFaultOptions options;
        options.tone_frequency_hz = frequency;
        const auto faults = faults_in(samples, 48000, options);
        require_no_dropout(faults);
        CHECK_FALSE(faults.has_source_muted());
        CHECK(*faults.tone_frequency_hz == Approx(997).margin(0.1));
    }
}

TEST_CASE("a source that mutes on near-silence is recognised by its hiss", "[capture_faults]") {
    // Hiss of the source 12 dB above the set-up's floor, under hum and whine that a mute does not stop.
    std::vector<double> samples(48000 * 10);
    std::mt19937_64 generator(21);
    std::normal_distribution<double> normal(0, 1);
    double muted_from_s = 100, muted_to_s = 100;
    SECTION("and comes back") {
        muted_from_s = 3;
        muted_to_s = 5;
    }
    SECTION("for the rest of the take") {
        muted_from_s = 6;
    }
    SECTION("or does not") {}
    SECTION("but at the very end, when its player stops") {
        muted_from_s = 8.5;
    }
    for (std::size_t i = 0; i < samples.size(); ++i) {
        const double t = static_cast<double>(i) / 48000;
        const bool muted = t >= muted_from_s && t < muted_to_s;
        samples[i] = 1e-5 * normal(generator) + (muted ? 0.0 : 4e-5 * normal(generator));
    }
    add_to(samples, [](double t) { return 0.1 * wandering_whine(t) + 0.002 * std::sin(2 * pi * 50 * t); });
    CaptureFaultOptions options;
    options.near_silence_played = true;
    const auto faults = faults_in(samples, 48000, options);
    const bool expected = muted_from_s < 8;
    REQUIRE(faults.has_source_muted() == expected);
    CHECK(faults.dropout_count == 0);
    if (expected) CHECK(faults.events[0].time_s == Approx(muted_from_s).margin(0.06));
    if (muted_to_s < 10) CHECK(faults.events[0].duration_s == Approx(2).margin(0.1));
}
