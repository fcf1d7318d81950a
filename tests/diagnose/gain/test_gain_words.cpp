#include <catch2/catch.hpp>

#include "diagnose/made_curves.hpp"

using namespace hushtrace;
using namespace made_curves;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

namespace {

/// The words for a job's one curve, which decides it.
struct Told {
    Take take;
    OpenedJob opened;
    GainAnalysis analysis;
    GainCurve curve;

    Told() { take.file = "takes/a.flac"; }
    std::string with(const std::vector<Made>& steps, Channel channel = Channel::rear_left) {
        curve = curve_of(take, channel, 997, steps);
        return decide();
    }
    std::string decide() {
        std::vector<Warning> warnings;
        decide_ceiling(curve, analysis.limit_thd_percent, warnings);
        analysis.ceiling = curve.curve.ceiling;
        analysis.ceiling_reason = curve.curve.ceiling_reason;
        return words();
    }
    std::string words() const { return ceiling_words(opened, analysis, {curve}, &curve); }
};

const std::string kUncalibrated = "Volts are unknown until the interface is calibrated";

}  // namespace

TEST_CASE("a ceiling's words have its volume, level, channel, tone and distortion", "[gain][words]") {
    Told told;
    std::string text = told.with(with_thd({0.02, 0.03, 0.05, 2.9}));
    CHECK_THAT(
        text,
        StartsWith(
            "The source plays clean up to volume 22: -16.0 dBFS on the rear left channel with the 997 Hz tone, THD 0.05 %. The next step up has "
            "2.9 %."));
    CHECK_THAT(text, Contains(kUncalibrated));
    CHECK_THAT(text, !Contains("far over the limit"));
    CHECK_THAT(told.with(with_thd({0.02, 0.03, 0.05, 3.1})), Contains("the edge lies close: 21 leaves a step of margin"));
    // the lower one next to it, in whichever order they were played
    CHECK_THAT(told.with({{20.0, -10}, {22.0, -6}, {21.0, -8}, {23.0, -4, 9}}), Contains("the edge lies close: 21 leaves a step of margin"));
    CHECK_THAT(told.with(with_thd({0.02, 9})), Contains("the edge lies close: stay one step lower for margin"));
    told.analysis.limit_thd_percent = 2;
    CHECK_THAT(told.with(with_thd({0.02, 0.03, 0.05, 5.9})), !Contains("far over the limit"));
    told.analysis.limit_thd_percent = 1;
    // without volumes: a step
    text = told.with({{std::nullopt, -10}, {std::nullopt, -8}, {std::nullopt, -6, 12}});
    CHECK_THAT(text, Contains("clean up to step 2:") && Contains("has 12 %.") && Contains("stay one step lower"));
    // in volts, with twice the uncertainty
    told.curve = curve_of(told.take, Channel::left, 997, with_thd({0.0005, 0.09, 0.12, 2.0}));
    VolumeStep& at = told.curve.curve.steps[2];
    told.curve.curve.steps[0].level_v = 1;
    at.level_v = 2.345;
    CHECK_THAT(told.decide(), Contains(": 2.35 V on the left") && !Contains(kUncalibrated) && !Contains("±") && Contains("THD 0.1 %"));
    at.level_v = 0.9994;
    CHECK_THAT(told.decide(), Contains(": 999 mV on the left"));
    at.level_v = 1.0;
    at.level_v_sd = 0.0215;
    CHECK_THAT(told.decide(), Contains(": 1.00 V ±4.3 % on the left") && !Contains("So poorly known"));
    at.level_v_sd = 0.0501;
    CHECK_THAT(told.decide(), Contains("So poorly known are volts by the calibration"));
    at.level_v_sd = 0.0499;
    CHECK_THAT(told.decide(), !Contains("So poorly known"));
}

TEST_CASE("distortion is told in figures that can be read", "[gain][words]") {
    for (const auto& [percent, words] :
         {std::pair{0.0009, "THD under 0.001 %"}, {0.001, "THD 0.001 %"}, {0.094, "THD 0.09 %"}, {0.096, "THD 0.1 %"}, {0.84, "THD 0.8 %"}}) {
        Told told;
        CHECK_THAT(told.with({{20.0, -10, percent, 0.0}, {21.0, -8, 9.4}}), Contains(words) && Contains("has 9.4 %"));
    }
    Told told;
    CHECK_THAT(told.with({{20.0, -10}, {21.0, -8, 9.6}}), Contains("has 10 %"));
}

TEST_CASE("a tone that was stepped by itself is told by its own levels", "[gain][words]") {
    Told told;
    told.with({{std::nullopt, -10}, {std::nullopt, -8, 0.03}, {std::nullopt, -6, 4}});
    told.curve.tone_is_stepped = true;
    told.curve.tone_level_dbfs = -6;
    CHECK_THAT(
        told.words(),
        StartsWith(
            "At this volume the source stays clean up to step 2 of the tone's levels (-8.0 dBFS at 997 Hz, THD 0.03 %); the next step has 4.0 %.") &&
            !Contains("This holds for a tone of"));
    told.with({{std::nullopt, -10}, {std::nullopt, -8}});
    told.curve.tone_is_stepped = true;
    CHECK_THAT(told.words(), StartsWith("No clipping up to the tone's highest level (-8.0 dBFS): this volume is clean."));
    told.curve.curve.steps[1].level_v = 0.5;
    CHECK_THAT(told.words(), Contains("(500 mV)"));
}

TEST_CASE("a quieter tone's ceiling says what a full-scale recording does", "[gain][words]") {
    Told told;
    told.with(with_thd({0.02, 2}));
    for (const auto& [level_dbfs, said] : {std::pair{0.0, false}, {-1.0, false}, {-1.1, true}}) {
        told.curve.tone_level_dbfs = level_dbfs;
        CHECK((told.words().find("holds for a tone of") != std::string::npos) == said);
    }
    told.curve.tone_level_dbfs = -12;
    CHECK_THAT(told.words(), Contains("a tone of -12 dBFS: a recording that reaches full scale is 12 dB louder"));
    told.with(with_thd({0.02, 0.02}));
    told.curve.tone_level_dbfs = -12;
    CHECK_THAT(told.words(), Contains("12 dB louder"));
    told.with(with_thd({5, 5}));
    told.curve.tone_level_dbfs = -12;
    CHECK_THAT(told.words(), !Contains("12 dB louder"));
}

TEST_CASE("a source that never clips is told with what is left of its scale", "[gain][words]") {
    Told told;
    CHECK_THAT(told.with(with_thd({0.02, 0.03})),
               StartsWith("No clipping up to volume 21 (-18.0 dBFS, THD 0.03 %), the highest that was played. If the scale goes higher"));
    told.opened.job.source.volume_top = 21;
    CHECK_THAT(told.words(), Contains("That is the top of its scale"));
    told.opened.job.source.volume_top = 20;
    CHECK_THAT(told.words(), Contains("That is the top of its scale"));
    told.opened.job.source.volume_top = 22;
    CHECK_THAT(told.words(), Contains("The scale goes on to 22: capture the rest"));
    CHECK_THAT(told.with({{std::nullopt, -10}}), Contains("No clipping up to step 1") && Contains("If the scale goes higher"));
    told.curve.curve.steps[0].level_v = 1.25;
    CHECK_THAT(told.words(), Contains("(1.25 V, THD"));
}

TEST_CASE("a source that is always distorted: before its volume control, or by being too loud", "[gain][words]") {
    Told told;
    std::string text = told.with({{20.0, -20, 5.0}, {21.0, -18, 5.2}});
    CHECK_THAT(text, StartsWith("The rear left channel is distorted at every volume that was played (997 Hz tone, THD 5.0 % to 5.2 %, limit 1.0 %). "
                                "It hardly changes with "
                                "the volume, so it happens before the volume control"));
    // half as much again further up: only so far
    CHECK_THAT(told.with({{20.0, -20, 5.2}, {21.0, -18, 5.0}, {22.0, -16, 7.4}}), Contains("THD 5.0 % to 7.4 %") && Contains(". It hardly changes"));
    CHECK_THAT(told.with({{20.0, -20, 5.2}, {21.0, -18, 5.0}, {22.0, -16, 7.6}}), Contains("Up to volume 21 it hardly changes with the volume, so"));
    text = told.with({{20.0, -20, 5}, {21.0, -19, 9}});
    CHECK_THAT(text, Contains("It changes with the volume: the source is too loud at all of these") && !Contains("before the volume control"));
}

TEST_CASE("an overloaded interface is told with the pad, and what is clean until then", "[gain][words]") {
    Told told;
    CHECK_THAT(told.with({{20.0, -10}, {21.0, -8}, {22.0, 0, 5, 0, true}}),
               StartsWith("The interface's own input overloads before the source does (rear left channel), so no ceiling can be named. Up to volume "
                          "21 all is clean. Turn its "
                          "input gain down or put a pad of 6 dB before it"));
    CHECK_THAT(told.with({{20.0, 0, 5, 0, true}, {21.0, 0, 5, 0, true}}),
               Contains("can be named. Turn its input gain down or put a pad of 10 dB") && !Contains("all is clean"));
    told.curve.pad_db.reset();
    CHECK_THAT(told.words(), Contains("a pad of 10 dB"));
}

TEST_CASE("noise, another tone and a take without plateaus have their own words", "[gain][words]") {
    Told told;
    CHECK_THAT(told.with(with_thd({0.9}, 0.5)), StartsWith("There is too much noise on the rear left channel to judge 1.0 % THD"));
    told.curve.other_tone_hz = 440.25;
    CHECK_THAT(told.decide(), StartsWith("The tone in the capture is 440.25 Hz, but job.json says 997 Hz"));
    CHECK_THAT(told.with({}), StartsWith("No stretch of steady 997 Hz tone was found in the rear left channel") && !Contains(kUncalibrated));
    told.curve.tone_there_s = 0.9;
    CHECK_THAT(told.words(), StartsWith("The 997 Hz tone is in the rear left channel for about 0.9 s only: too short to read"));
    told.curve.tone_there_s = 1.1;
    CHECK_THAT(told.words(), StartsWith("The 997 Hz tone is in the rear left channel for 1 s, but its level never stood still"));
    // 40 cycles of a low tone
    told.curve.curve.tone_hz = 20;
    told.curve.tone_there_s = 1.9;
    CHECK_THAT(told.words(), Contains("for about 1.9 s only"));
    told.curve.tone_there_s = 2.1;
    CHECK_THAT(told.words(), Contains("for 2 s, but"));
    CHECK(ceiling_words(told.opened, told.analysis, {}, nullptr) == "No take could be judged.");
}
