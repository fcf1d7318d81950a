#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

constexpr double kLow_hz = 50;

/// Ten volumes, 2 dB apart, a rail of -6 dB: clean up to the seventh (volume 26).
Source source_at(double tone_hz, double shift_db = 0, double falls_db_a_step = 0, std::size_t falls_from = 0) {
    Source source;
    source.tone_hz = tone_hz;
    source.stops = staircase(-18.2 + shift_db, 2.0, 10);
    for (std::size_t i = 0; i < source.stops.size(); ++i) {
        source.stops[i].duration_s = tone_hz < 100 ? 1.0 : 0.7;
        if (i > falls_from) source.stops[i].level_db -= falls_db_a_step * static_cast<double>(i - falls_from);
    }
    return source;
}

std::string text_of(const GainAnalysis& gain, const std::string& code) {
    for (const Warning& one : gain.warnings)
        if (one.code == code) return one.text;
    return {};
}

}  // namespace

TEST_CASE("a factory radio's falling bass is told from a limiter", "[gain][compare]") {
    JobInMemory job;
    job.add("full.flac", source_at(997), volumes_from(20, 10));
    SECTION("it rises less") {
        job.add("low.flac", source_at(kLow_hz, 0, 0.7, 2), volumes_from(20, 10));
        const GainAnalysis gain = job.analyse();
        REQUIRE(warned(gain, "bass_falls"));
        CHECK(text_of(gain, "bass_falls").find("from volume 22 to 26") != std::string::npos);
        CHECK(text_of(gain, "bass_falls").find("2.8 dB") != std::string::npos);  // 4 steps of 0.7
        CHECK_FALSE(warned(gain, "limiter"));
        CHECK(gain.ceiling->volume == 26.0);
    }
    SECTION("it stops rising, as behind a limiter") {
        job.add("low.flac", source_at(kLow_hz, 0, 1.9, 3), volumes_from(20, 10));
        const GainAnalysis gain = job.analyse();
        CHECK(warned(gain, "bass_falls"));
        CHECK_FALSE(warned(gain, "limiter"));
        for (const StepCurve& curve : gain.curves)
            if (curve.knee) CHECK(curve.knee->kind != "limiter");
    }
    SECTION("both tones stop rising: a limiter") {
        job.opened.job.takes.clear();
        job.add("full.flac", source_at(997, -6, 1.9, 4), volumes_from(20, 10));
        job.add("low.flac", source_at(kLow_hz, -6, 1.9, 4), volumes_from(20, 10));
        const GainAnalysis gain = job.analyse();
        CHECK(warned(gain, "limiter"));
        CHECK_FALSE(warned(gain, "bass_falls"));
    }
    SECTION("nothing falls") {
        job.add("low.flac", source_at(kLow_hz), volumes_from(20, 10));
        const GainAnalysis gain = job.analyse();
        for (const char* code : {"bass_falls", "limiter", "level_lags", "crossover", "bass_boosted", "channel_quiet"})
            CHECK_FALSE(warned(gain, code));
    }
}

TEST_CASE("a low tone alone that stops rising is left open", "[gain][compare]") {
    JobInMemory job;
    job.add("low.flac", source_at(kLow_hz, 0, 1.9, 3), volumes_from(20, 10));
    const GainAnalysis gain = job.analyse();
    CHECK(warned(gain, "level_lags"));
    CHECK_FALSE(warned(gain, "limiter"));
    CHECK(text_of(gain, "level_lags").find("997 Hz") != std::string::npos);
}

TEST_CASE("a low tone whose own level is stepped shows a limiter, since the volume stands still", "[gain][compare]") {
    JobInMemory job;
    Take& take = job.add("low.flac", source_at(kLow_hz, -6, 1.9, 3), {});
    Stepped tone;
    tone.frequency_hz = kLow_hz;
    tone.levels_dbfs = {-18, -16, -14, -12, -10, -8, -6, -4, -2, 0};
    take.tone->waveform = tone;
    const GainAnalysis gain = job.analyse();
    CHECK(warned(gain, "limiter"));
    CHECK_FALSE(warned(gain, "level_lags"));
}

TEST_CASE("a crossover left on is noticed", "[gain][compare]") {
    JobInMemory job;
    SECTION("a high-pass on left and right, by two takes at the same volumes") {
        job.add("full.flac", source_at(997), volumes_from(20, 10));
        job.add("low.flac", source_at(kLow_hz, -24), volumes_from(20, 10));
        const GainAnalysis gain = job.analyse();
        REQUIRE(warned(gain, "crossover"));
        CHECK(text_of(gain, "crossover").find("24.0 dB lower") != std::string::npos);
        CHECK(gain.ceiling->volume == 26.0);
    }
    SECTION("a low-pass on the sub channel, beside left and right in one take") {
        Source source = source_at(997);
        source.channels = {hard(0.5), hard(0.5), hard(0.5)};
        source.channel_gain = {1.0, 0.97, 0.03};
        Take& take = job.add("full.flac", source, volumes_from(20, 10));
        take.channels = {Channel::left, Channel::right, Channel::sub};
        const GainAnalysis gain = job.analyse();
        REQUIRE(warned(gain, "crossover"));
        CHECK(text_of(gain, "crossover").find("sub: the 997 Hz tone comes in 30 dB lower than on left") == 0);
        CHECK(gain.ceiling->volume == 26.0);
    }
    SECTION("a channel that the noise covers behind its crossover doesn't veto the others' ceiling") {
        Source source = source_at(997);
        source.channels = {hard(0.5), hard(0.5), hard(0.5)};
        source.channel_gain = {1.0, 0.97, 0.03};
        source.noise_rms = 0.01;
        Take& take = job.add("full.flac", source, volumes_from(20, 10));
        take.channels = {Channel::left, Channel::right, Channel::sub};
        const GainAnalysis gain = job.analyse();
        CAPTURE(gain.ceiling_text);
        REQUIRE(gain.ceiling);
        CHECK(gain.ceiling->volume == 26.0);
    }
    SECTION("a boost isn't called a crossover") {
        job.add("full.flac", source_at(997, -8), volumes_from(20, 10));
        job.add("low.flac", source_at(kLow_hz), volumes_from(20, 10));
        const GainAnalysis gain = job.analyse();
        CHECK(warned(gain, "bass_boosted"));
        CHECK_FALSE(warned(gain, "crossover"));
    }
    SECTION("one channel far below the other") {
        Source source = source_at(997);
        source.channel_gain = {1.0, 0.1};
        job.add("full.flac", source, volumes_from(20, 10));
        const GainAnalysis gain = job.analyse();
        CHECK(warned(gain, "channel_quiet"));
        CHECK_FALSE(warned(gain, "crossover"));
    }
    SECTION("other volumes in the two takes tell nothing") {
        job.add("full.flac", source_at(997), volumes_from(20, 10));
        job.add("low.flac", source_at(kLow_hz, -24), volumes_from(40, 10));
        CHECK_FALSE(warned(job.analyse(), "crossover"));
    }
}

TEST_CASE("distortion from before the volume control is told from a source that is too loud", "[gain][compare]") {
    // Clipped before the volume: the same waveform at every level. Clipped behind it, 1 to 7 dB over: it changes.
    for (const bool before : {true, false}) {
        JobInMemory job;
        Source source;
        source.channel_gain = {1.0, 1.0};
        source.stops = staircase(before ? -24.0 : -6.0, 1.0, 7, 4);
        for (Stop& stop : source.stops) stop.duration_s = 0.8;
        source.channels = {hard(before ? 10.0 : 0.45), hard(before ? 10.0 : 0.45)};
        job.add("a.flac", source, volumes_from(20, 7));
        if (before)
            for (std::size_t c = 0; c < 2; ++c) {
                auto samples = job.sound["a.flac"].first.channel(c);
                double t = source.lead_in_s;
                for (const Stop& stop : source.stops) {
                    const auto from = static_cast<std::size_t>((t + source.turn_s) * source.rate);
                    t += source.turn_s + stop.duration_s;
                    const double rail = 0.8 * std::pow(10.0, stop.level_db / 20);
                    for (auto n = from; n < static_cast<std::size_t>(t * source.rate); ++n)
                        samples[n] = std::clamp(samples[n], -rail, rail);
                }
            }
        const GainAnalysis gain = job.analyse();
        CAPTURE(before, gain.ceiling_text);
        CHECK(gain.ceiling_reason == "always_distorted");
        CHECK((gain.ceiling_text.find("before the volume control") != std::string::npos) == before);
        CHECK((gain.ceiling_text.find("Start at a lower volume") != std::string::npos) != before);
    }
}

TEST_CASE("a capture without a plateau says which kind", "[gain][compare]") {
    JobInMemory job;
    Source source;
    std::string says;
    SECTION("the tone was too short") {
        source.stops = {Stop{-20, 0.2, 0, false, 0}};
        says = "too short";
    }
    SECTION("the knob never rested") {
        source.stops = {Stop{-40, 0.01, 0, false, 0}, Stop{-10, 0.01, 0, false, 0}, Stop{-40, 0.01, 0, false, 0}};
        source.turn_s = 4;
        says = "never stood still";
    }
    SECTION("there is none") {
        source.lead_in_s = 3;
        says = "Check lead and source";
    }
    job.add("a.flac", source, volumes_from(20, 3));
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text);
    CHECK(gain.ceiling_reason == "no_plateau");
    CHECK(gain.ceiling_text.find(says) != std::string::npos);
}

TEST_CASE("two tones are compared at the probe, whatever pads lay between", "[gain][compare]") {
    for (const bool calibrated : {false, true}) {
        JobInMemory job;
        if (calibrated) job.opened.job.interface.volts_full_scale = {8.0, 8.0};
        Source behind_pad = source_at(997);
        behind_pad.pad = std::pow(10.0, -0.5);  // 10 dB
        job.add("full.flac", behind_pad, volumes_from(20, 10)).attenuation_db = {10, 10};
        job.add("low.flac", source_at(kLow_hz), volumes_from(20, 10));
        CAPTURE(calibrated);
        const GainAnalysis gain = job.analyse();
        for (const char* code : {"bass_boosted", "crossover", "channel_quiet", "bass_falls"}) CHECK_FALSE(warned(gain, code));
        REQUIRE(gain.ceiling);
        CHECK(gain.ceiling->volume == 26.0);

        // The same sound, but behind no pad: then the low tone is 10 dB louder.
        job.opened.job.takes[0].attenuation_db.clear();
        CHECK(text_of(job.analyse(), "bass_boosted").find("10.0 dB louder") != std::string::npos);
        // As loud in the captures, but the low one lost 10 dB in a pad.
        job.sound["full.flac"].first = render(source_at(997));
        job.opened.job.takes[1].attenuation_db = {10, 10};
        CHECK(text_of(job.analyse(), "bass_boosted").find("10.0 dB louder") != std::string::npos);
    }
}

TEST_CASE("channels of one take are compared at the probe, and not at all where one alone is calibrated", "[gain][compare]") {
    JobInMemory job;
    Source source = source_at(997);
    source.channel_gain = {1.0, 0.1};
    Take& take = job.add("full.flac", source, volumes_from(20, 10));
    CHECK(warned(job.analyse(), "channel_quiet"));
    take.attenuation_db = {0, 20};
    CHECK_FALSE(warned(job.analyse(), "channel_quiet"));
    take.attenuation_db.clear();
    job.opened.job.interface.volts_full_scale = {7.0, 70.0};
    CHECK_FALSE(warned(job.analyse(), "channel_quiet"));
    job.opened.job.interface.volts_full_scale = {7.0, std::nullopt};
    const GainAnalysis one = job.analyse();
    CHECK_FALSE(warned(one, "channel_quiet"));
    CHECK(text_of(one, "balance_unknown").find("the left channel is calibrated and the right channel isn't") == 0);
}

TEST_CASE("a held-back channel's noise doesn't hide that the others never clip", "[gain][compare]") {
    JobInMemory job = job_with_amplifier();
    job.opened.job.takes.clear();
    job.opened.job.interface.volts_full_scale = {8.0, 8.0, 8.0};
    Source source = source_at(997);
    source.stops.resize(8);
    source.channels = {hard(0.99), hard(0.99), hard(0.99)};
    source.channel_gain = {1.0, 0.97, 0.004};  // 48 dB down behind its low-pass
    source.noise_rms = 0.002;
    Take& take = job.add("full.flac", source, volumes_from(20, 8));
    take.channels = {Channel::left, Channel::right, Channel::sub};
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text);
    REQUIRE(warned(gain, "crossover"));
    CHECK(gain.curves.at(2).ceiling_reason == "too_noisy");
    CHECK(gain.ceiling_reason == "never_clips");
    CHECK(gain.ceiling_text.find("volume 27") != std::string::npos);
    CHECK(gain.amplifiers.at(0).volume == 27.0);
}
