#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

constexpr double kOnset1Percent = 0.251;  // clipped_sine.csv: 1 % THD lies 0.251 dB over the ceiling

/// Ten stops; the output stage's rail of 0.5 is -6.02 dB. Stop 6 (volume 26) lies 0.18 dB below it, stop
/// 7 1.82 above.
Source clear_case() {
    Source source;
    source.stops = staircase(-18.2, 2.0, 10);
    return source;
}

const StepCurve& curve_of(const GainAnalysis& analysis, Channel channel) {
    for (const StepCurve& one : analysis.curves)
        if (one.channel == channel) return one;
    FAIL("no such curve");
    return analysis.curves.front();
}

}  // namespace

TEST_CASE("a ceiling found with a quieter tone says that full scale is louder", "[gain]") {
    for (const double tone_dbfs : {0.0, -0.5, -12.0}) {
        Source source;
        source.stops = staircase(-12.2, 2.0, 5);
        JobInMemory job;
        job.add("a.flac", source, volumes_from(20, 5), tone_dbfs);
        const std::string text = job.analyse().ceiling_text;
        CAPTURE(tone_dbfs, text);
        CHECK((text.find("12 dB louder") != std::string::npos) == (tone_dbfs == -12.0));
        CHECK((text.find("This holds for a tone of") != std::string::npos) == (tone_dbfs == -12.0));
    }
}

TEST_CASE("hard clipping: the ceiling is the last step below it", "[gain]") {
    JobInMemory job;
    job.add("takes/steps.flac", clear_case(), volumes_from(20, 10));
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 26.0);
    CHECK(gain.ceiling->step == 7);
    CHECK(gain.ceiling->channel == Channel::left);  // the right channel is 0.26 dB quieter
    CHECK(gain.ceiling->level_dbfs == Approx(-6.2).margin(0.01));
    CHECK(gain.ceiling->thd_percent < 0.02);
    // clipped_sine.csv has 9.25 % at 2 dB over the ceiling and 4.63 % at 1 dB; this is 1.82 dB over
    CHECK(*gain.ceiling->next_volume_thd_percent == Approx(8.4).margin(0.5));
    CHECK_FALSE(gain.ceiling->level_v);
    CHECK(gain.ceiling_text.find("volume 26") != std::string::npos);
    CHECK(gain.ceiling_text.find("calibrate") != std::string::npos);
    CHECK(gain.ceiling_text.find("25 leaves a step of margin") != std::string::npos);
    REQUIRE(gain.curves.size() == 2);
    CHECK(gain.curves[0].steps.size() == 10);
    // these sources are clipped sample by sample, so their harmonics fold as a digital stage's do
    REQUIRE(gain.warnings.size() == 1);
    CHECK(gain.warnings.front().code == "clips_digitally");
    CHECK(gain.warnings.front().text.find("48 kHz") != std::string::npos);
}

TEST_CASE("the ceiling is right to half a decibel near the onset, at steps of 0.5 dB", "[gain]") {
    // Steps offset so that the 1 % point falls between different pairs of them: by paper, not by the
    // analysis.
    for (const double offset : {-0.4, 0.0, 0.15}) {
        Source source;
        source.channels = {hard(0.25)};
        source.channel_gain = {1.0};
        source.stops = staircase(-15.0 + offset, 0.5, 9, 3);
        const double onset_db = 20 * std::log10(0.25) + kOnset1Percent;
        int last_clean = 0;
        for (int i = 0; i < 9; ++i)
            if (-15.0 + offset + 0.5 * i <= onset_db) last_clean = i;
        JobInMemory job;
        job.add("a.flac", source, volumes_from(10, 9));
        const GainAnalysis gain = job.analyse();
        CAPTURE(offset, gain.ceiling_text);
        REQUIRE(gain.ceiling);
        CHECK(*gain.ceiling->volume == 10.0 + last_clean);
    }
}

TEST_CASE("one-sided, soft, one channel first, 40 Hz, another clock, noise at -50 dB", "[gain]") {
    JobInMemory job;
    Source source = clear_case();
    double volume = 26;
    Channel channel = Channel::left;
    SECTION("one-sided clipping") {
        source.channels = {one_sided(0.5), one_sided(0.5)};
    }
    SECTION("soft clipping") {
        // tanh: the third harmonic is about x^2/12 for a drive of x; 1 % at x = 0.35, so -15.0 dB: volume 21
        source.channels = {soft(0.5), soft(0.5)};
        volume = 21;
    }
    SECTION("the right channel clips 6 dB earlier") {
        source.channels = {hard(0.5), hard(0.25)};
        volume = 23;
        channel = Channel::right;
    }
    SECTION("40 Hz") {
        source.tone_hz = 40;
        for (Stop& stop : source.stops) stop.duration_s += 0.5;
    }
    SECTION("a clock 200 ppm off") {
        source.clock_ppm = 200;
    }
    SECTION("noise 50 dB below the tone at the ceiling") {
        source.noise_rms = 0.5 / std::sqrt(2.0) / 316;
    }
    SECTION("the source mutes between steps and clicks") {
        for (Stop& stop : source.stops) {
            stop.silence_before_s = 0.2;
            stop.click_before = true;
        }
    }
    SECTION("192 kHz") {
        source.rate = 192000;
        source.stops.erase(source.stops.begin(), source.stops.begin() + 5);
        volume = 21;
    }
    job.add("a.flac", source, volumes_from(20, source.stops.size()));
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text, gain.ceiling_reason);
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == volume);
    CHECK(gain.ceiling->channel == channel);
}

TEST_CASE("a step back and an overshoot don't move the ceiling", "[gain]") {
    JobInMemory job;
    Source source = clear_case();
    std::vector<Stop> stops = source.stops;
    stops.insert(stops.begin() + 6, source.stops[4]);  // 20 .. 25, back to 24, then 26 ..
    source.stops = stops;
    job.add("a.flac", source, volumes_from(20, 10));
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text);
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 26.0);
    CHECK(warned(gain, "steps_by_level"));
}

TEST_CASE("when steps and plateaus don't match the ceiling is a step without a volume", "[gain]") {
    JobInMemory job;
    job.add("a.flac", clear_case(), volumes_from(20, 14));
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK_FALSE(gain.ceiling->volume);
    CHECK(gain.ceiling->step == 7);
    CHECK(warned(gain, "steps_unmatched"));
}

TEST_CASE("without volumes, steps taken twice and a channel that clips a step earlier don't mislead", "[gain]") {
    // An overshoot comes before its setting: by number the right channel, which clips only above it, would seem lower.
    JobInMemory job;
    Source source = clear_case();
    source.channels = {hard(0.25), hard(0.31)};
    std::vector<Stop> stops(source.stops.begin(), source.stops.begin() + 8);
    std::swap(stops[3], stops[4]);
    stops.insert(stops.begin() + 5, source.stops[4]);
    source.stops = stops;
    job.add("a.flac", source, {});
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text);
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->channel == Channel::left);
    CHECK(gain.ceiling->step == 5);  // -12.2 dB, 0.16 below the rail of -12.04
    CHECK_FALSE(warned(gain, "limiter"));
}

TEST_CASE("no ceiling, and the right reason", "[gain]") {
    JobInMemory job;
    Source source = clear_case();
    std::string reason, says;
    SECTION("never clips") {
        source.channels = {hard(0.99), hard(0.99)};
        source.stops.resize(8);
        reason = "never_clips";
        says = "volume 27";
        job.opened.job.source.volume_top = 40;
    }
    SECTION("always distorted, from before the volume control") {
        source.channels = {[](double x) { return x; }, [](double x) { return x; }};
        source.channels[0] = source.channels[1] = [](double x) { return 0.5 * x; };
        source.stops.resize(8);
        reason = "always_distorted";
        says = "before the volume control";
    }
    SECTION("the interface overloads first") {
        source.channels = {hard(0.9), hard(0.9)};
        source.pad = 2.5;
        reason = "input_overloaded";
        says = "pad of";
    }
    SECTION("the interface overloads throughout") {
        source.pad = 40;
        source.channels = {hard(0.9), hard(0.9)};
        reason = "input_overloaded";
    }
    SECTION("no tone at all") {
        source.stops.clear();
        source.lead_in_s = 3;
        reason = "no_plateau";
    }
    SECTION("too short to hold a plateau") {
        source.stops = {Stop{-20, 0.05, 0, false, 0}};
        source.lead_in_s = source.lead_out_s = 0;
        reason = "no_plateau";
    }
    SECTION("noise as loud as the tone") {
        source.noise_rms = 0.05;
        source.stops = staircase(-26, 1.5, 6);
        for (Stop& stop : source.stops) stop.duration_s = 1.0;
        reason = "too_noisy";
    }
    Take& take = job.add("a.flac", source, volumes_from(20, source.stops.size()));
    if (reason == "always_distorted") {
        // digital clipping in the source's tone controls: the same waveform at every volume
        auto& block = job.sound["a.flac"].first;
        Source clean = source;
        clean.channels = {[](double x) { return x; }, [](double x) { return x; }};
        block = render(clean);
        for (std::size_t n = 0; n < block.frames(); ++n)
            for (std::size_t c = 0; c < 2; ++c) {
                // the third harmonic of the tone at 5 %, phase-locked and scaled with the volume: 4x^3 - 3x
                const double x = block.channel(c)[n];
                double level = 0;  // of the stop this sample lies in
                double t = source.lead_in_s;
                const double now = static_cast<double>(n) / source.rate;
                for (const Stop& stop : source.stops) {
                    if (now >= t) level = std::pow(10.0, stop.level_db / 20) * source.channel_gain[c];
                    t += source.turn_s + stop.duration_s;
                }
                if (level > 0 && std::abs(x) <= level)
                    block.channel(c)[n] = x + 0.05 * level * (3 * x / level - 4 * std::pow(x / level, 3));
            }
    }
    (void)take;
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text);
    CHECK_FALSE(gain.ceiling);
    CHECK(gain.ceiling_reason == reason);
    CHECK(gain.ceiling_text.find(says) != std::string::npos);
    for (const StepCurve& curve : gain.curves) CHECK_FALSE(curve.ceiling);
}

TEST_CASE("another tone than the one stated is named with both frequencies", "[gain]") {
    for (const double playing : {440.0, 1000.0, 50.0}) {
        JobInMemory job;
        Source source = clear_case();
        source.tone_hz = playing;
        Take& take = job.add("a.flac", source, volumes_from(20, 10));
        take.tone->waveform = Sine{997, 0};
        const GainAnalysis gain = job.analyse();
        CAPTURE(playing, gain.ceiling_text);
        CHECK(gain.ceiling_reason == "wrong_tone");
        CHECK(gain.ceiling_text.find("997 Hz") != std::string::npos);
        CHECK(gain.ceiling_text.find(std::to_string(static_cast<int>(playing))) != std::string::npos);
    }
}

TEST_CASE("a clean source read through a clipping interface is told from one that clips itself", "[gain]") {
    // The same flat tops, once at the converter's end and once just below it.
    JobInMemory at_rail, below;
    Source source = clear_case();
    source.channels = {hard(1.0), hard(1.0)};
    source.pad = 2.0;
    at_rail.add("a.flac", source, volumes_from(20, 10));
    source.channels = {hard(0.49), hard(0.49)};
    below.add("a.flac", source, volumes_from(20, 10));
    CHECK(at_rail.analyse().ceiling_reason == "input_overloaded");
    const GainAnalysis clipped = below.analyse();
    REQUIRE(clipped.ceiling);
    CHECK(clipped.ceiling->volume == 26.0);
}

TEST_CASE("a limiter keeps the tone clean and is pointed out", "[gain]") {
    JobInMemory job;
    Source source = clear_case();
    for (Stop& stop : source.stops) {
        stop.level_db = std::min(stop.level_db, -12.2 + 0.1 * (stop.level_db + 12.2));
        stop.click_before = true;
    }
    job.add("a.flac", source, volumes_from(20, 10));
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text);
    CHECK(gain.ceiling_reason == "never_clips");
    CHECK(warned(gain, "limiter"));
}

TEST_CASE("a dead channel is named and the other one judged", "[gain]") {
    JobInMemory job;
    Source source = clear_case();
    source.channel_gain = {1.0, 0.0};
    job.add("a.flac", source, volumes_from(20, 10));
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 26.0);
    CHECK(warned(gain, "channel_silent"));
    CHECK(curve_of(gain, Channel::right).ceiling_reason == "no_plateau");
}

TEST_CASE("a tone stepped by itself at one volume gives a step, not a volume", "[gain]") {
    JobInMemory job;
    Source source = clear_case();
    Take& take = job.add("a.flac", source, {});
    Stepped tone;
    tone.levels_dbfs = {-18, -16, -14, -12, -10, -8, -6, -4, -2, 0};
    take.tone->waveform = tone;
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->step == 7);
    CHECK_FALSE(gain.ceiling->volume);
    CHECK(gain.ceiling_text.find("step 7") != std::string::npos);
}

TEST_CASE("an unreadable take among good ones is named; none readable is an error", "[gain]") {
    JobInMemory job;
    job.add("good.flac", clear_case(), volumes_from(20, 10));
    job.add("bad.flac", clear_case(), volumes_from(20, 10));
    job.sound.erase("bad.flac");
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    REQUIRE(warned(gain, "take_unreadable"));
    CHECK(gain.warnings.front().take == "bad.flac");
    CHECK(gain.takes == std::vector<std::string>{"good.flac"});

    job.sound.clear();
    CHECK_THROWS_AS(job.analyse(), Error);
    job.opened.job.takes.clear();
    try {
        job.analyse();
        FAIL("nothing to analyse was analysed");
    } catch (const Error& error) {
        CHECK(error.kind() == ErrorKind::invalid_input);
    }
}

TEST_CASE("the limit is the job's", "[gain]") {
    JobInMemory job;
    job.opened.job.limits.ceiling_thd_percent = 10.0;
    job.add("a.flac", clear_case(), volumes_from(20, 10));
    const GainAnalysis gain = job.analyse();
    REQUIRE(gain.ceiling);
    CHECK(gain.ceiling->volume == 27.0);  // 1.82 dB over: below the 2.17 dB of 10 % (clipped_sine.csv)
    CHECK(gain.limit_thd_percent == 10.0);
}

TEST_CASE("a tone or a rate that hides the harmonics is refused or pointed out", "[gain]") {
    JobInMemory high_tone;
    Source source = clear_case();
    source.tone_hz = 7000;
    high_tone.add("a.flac", source, volumes_from(20, 10));
    try {
        high_tone.analyse();
        FAIL("7 kHz was judged");
    } catch (const Error& error) {
        CHECK(std::string(error.what()).find("third harmonic") != std::string::npos);
    }
    JobInMemory low_rate;
    source = clear_case();
    source.rate = 8000;
    low_rate.add("a.flac", source, volumes_from(20, 10));
    const GainAnalysis low = low_rate.analyse();
    CHECK(warned(low, "harmonics_missing"));
    for (const VolumeStep& step : low.curves.front().steps) {
        CHECK(step.harmonics_counted == 2);   // 3 x 997 < 3800 < 4 x 997
        CHECK(step.harmonics_missing == 17);  // 20 x 997 < 20000
    }
}
