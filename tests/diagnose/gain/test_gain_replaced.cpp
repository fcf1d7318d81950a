#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "diagnose/stepped_job.hpp"

using namespace hushtrace;
using namespace stepped_job;
using namespace stepped_source;

namespace {

/// Steps of 2 dB from volume 20 whose rail of 0.5 clips from volume 27 on; `pad` is what stands before an interface that clips at 1.0.
Source stepped(double pad) {
    Source source;
    source.stops = staircase(-18.2, 2.0, 10);
    source.pad = pad;
    return source;
}

/// The knob stood four times as high in the first take: its interface overloads from volume 23 on.
JobInMemory knob_too_high_then_right(double second_tone_dbfs = 0.0) {
    JobInMemory job;
    Source high = stepped(4.0);
    high.channels = {hard(5), hard(5)};
    job.add("takes/high.flac", high, volumes_from(20, 10));
    job.add("takes/right.flac", stepped(1.0), volumes_from(20, 10), second_tone_dbfs);
    return job;
}

}  // namespace

TEST_CASE("an overloaded take stands back for another one of the same tone", "[gain][replaced]") {
    JobInMemory both = knob_too_high_then_right(), alone;
    both.opened.job.interface.volts_full_scale = {8.0, 8.0};
    alone.opened.job.interface.volts_full_scale = {8.0, 8.0};
    alone.add("takes/right.flac", stepped(1.0), volumes_from(20, 10));
    const GainAnalysis gain = both.analyse(), expected = alone.analyse();
    REQUIRE(gain.ceiling);
    REQUIRE(expected.ceiling);
    CHECK(gain.ceiling->volume == 26.0);
    CHECK(gain.ceiling->take == "takes/right.flac");
    CHECK(*gain.ceiling->level_v == *expected.ceiling->level_v);
    REQUIRE(gain.curves.size() == 4);   // all are shown
    CHECK(gain.curves[2].take == "takes/high.flac");
    CHECK(gain.curves[2].ceiling_reason == "input_overloaded");
    std::size_t told = 0;
    for (const Warning& one : gain.warnings)
        if (one.code == "overloaded_replaced") {
            ++told;
            CHECK(one.take == "takes/high.flac");
            CHECK(one.text.find("job --withdraw takes/high.flac") != std::string::npos);
        }
    CHECK(told == 1);   // a sentence for the take, not one for each channel
    CHECK_FALSE(warned(expected, "overloaded_replaced"));
}

TEST_CASE("an amplifier's gain rests on the take that counts, not on the overloaded one's clean steps", "[gain][replaced]") {
    // The overloaded take's levels lie 12 dB too high at every volume: the knob stood so.
    JobInMemory both = knob_too_high_then_right(), alone;
    alone.add("takes/right.flac", stepped(1.0), volumes_from(20, 10));
    AmplifierData amplifier;
    amplifier.name = "front";
    amplifier.power_w = 100;
    amplifier.load_ohm = 4;
    for (JobInMemory* job : {&both, &alone}) {
        job->opened.job.interface.volts_full_scale = {8.0, 8.0};
        job->opened.job.amplifiers = {amplifier};
    }
    const GainAnalysis gain = both.analyse(), expected = alone.analyse();
    REQUIRE(gain.amplifiers.size() == 1);
    REQUIRE(gain.amplifiers[0].gain_db);
    REQUIRE(expected.amplifiers[0].gain_db);
    CHECK(*gain.amplifiers[0].gain_db == Approx(*expected.amplifiers[0].gain_db).margin(1e-9));
    // Ohm's law: 20 V of output; 0.49 of full scale (-6.2 dB of 8 V peak) is 2.77 V rms at the ceiling
    CHECK(*gain.amplifiers[0].gain_db == Approx(20 * std::log10(20.0 / (8.0 / std::sqrt(2.0) * std::pow(10.0, -6.2 / 20)))).margin(0.01));
}

TEST_CASE("what doesn't answer an overloaded take leaves the ceiling open", "[gain][replaced]") {
    JobInMemory job;
    SECTION("a quieter tone") { job = knob_too_high_then_right(-10.0); }
    SECTION("another tone") {
        job = knob_too_high_then_right();
        Source low = stepped(1.0);
        low.tone_hz = 200;
        job.sound["takes/right.flac"] = {render(low), low.rate};
        job.opened.job.takes[1].tone = PlayedTone{Sine{200, 0.0}, std::nullopt};
    }
    SECTION("another place") {
        job = knob_too_high_then_right();
        job.opened.job.takes[1].conditions.point = Point::source_output;
    }
    SECTION("one that stops further down") {
        job = knob_too_high_then_right();
        Source lower = stepped(1.0);
        lower.stops.resize(2);
        job.sound["takes/right.flac"] = {render(lower), lower.rate};
        job.opened.job.takes[1].volume_steps = volumes_from(20, 2);
    }
    SECTION("one channel only") {
        job = knob_too_high_then_right();
        job.opened.job.takes[1].channels = {Channel::left, Channel::rear_right};
    }
    const GainAnalysis gain = job.analyse();
    CAPTURE(gain.ceiling_text);
    CHECK_FALSE(gain.ceiling);
    CHECK(gain.ceiling_reason == "input_overloaded");
    CHECK_FALSE(warned(gain, "overloaded_replaced"));
}

TEST_CASE("volts that are hardly known are told in plain percent, with the way out", "[gain][replaced]") {
    JobInMemory job;
    job.add("takes/right.flac", stepped(1.0), volumes_from(20, 10));
    job.opened.job.interface.volts_full_scale = {8.0, 8.0};
    job.opened.job.interface.volts_full_scale_sd_db = {5.0, 5.0};
    const GainAnalysis poor = job.analyse();
    CAPTURE(poor.ceiling_text);
    CHECK(poor.ceiling_text.find("e+0") == std::string::npos);
    CHECK(poor.ceiling_text.find("digit that it shows") != std::string::npos);
    job.opened.job.interface.volts_full_scale_sd_db = {0.05, 0.05};
    CHECK(job.analyse().ceiling_text.find("digit that it shows") == std::string::npos);
}
