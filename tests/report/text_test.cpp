#include "hushtrace/report/text.hpp"

#include <catch2/catch.hpp>
#include <sstream>

#include "holds.hpp"
#include "hushtrace/report/wording.hpp"
#include "report/sample.hpp"

using namespace hushtrace;

namespace {

void require_80_columns(const std::string& text) {
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) {
        INFO(line);
        CHECK(display_width(line) <= 80);
    }
}

}  // namespace

TEST_CASE("the terminal tells findings, then what to do, warnings last", "[text]") {
    const std::string text = noise_text(sample::job(), sample::noise());
    require_80_columns(text);
    const std::size_t whine = text.find("1. Alternator whine at 1.231 kHz: -47.6 dBV (4.16 mV) ±0.6 dB");
    const std::size_t action = text.find("Move the source's ground");
    const std::size_t warning = text.find("cut short after 0.1 s");
    REQUIRE(whine != std::string::npos);
    REQUIRE(action != std::string::npos);
    REQUIRE(warning != std::string::npos);
    CHECK(whine < action);
    CHECK(action < warning);
    CHECK(holds(text, "very likely (96 %); left and right; loudest in takes/idle.flac"));
    CHECK(holds(text, "gets in by ground loop: 82 %"));
    CHECK(holds(text, "Expect: 25 dB quieter (±5)\n"));
    CHECK_FALSE(holds(text, "not calibrated"));
}

TEST_CASE("the terminal says what it would help to buy, and what became of a change", "[text]") {
    NoiseAnalysis made = sample::noise();
    made.cures = {{"whine-1", "isolator", "an isolating transformer in the lead", -24.6, 6.0,
                   "It costs bass, and this sentence is longer than one line of the terminal."},
                  {"whine-1", "ferrite", "a clip-on ferrite round the lead", -0.2, 0.3, "Nothing in the audio band."}};
    ChangeMade change;
    change.change = "ground remade";
    change.source_id = "whine-1";
    change.before = "takes/idle.flac";
    change.after = "takes/mended.flac";
    change.text = "It fell by 16 ± 6 dB.";
    made.changes = {change};
    const std::string text = noise_text(sample::job(), made);
    require_80_columns(text);
    CHECK(holds(text, "Would it help to buy ...? For whine-1"));
    CHECK(holds(text, " -25 (±6)  dB  an isolating transformer in the lead\n"));
    CHECK(holds(text, "  +0 (±0)  dB  a clip-on ferrite round the lead\n"));
    CHECK(holds(text, "- ground remade, whine-1: It fell by 16 ± 6 dB.\n"));
    CHECK(holds(text, "takes/mended.flac against takes/idle.flac, left"));
}

TEST_CASE("without calibration the terminal shows dBFS and says so", "[text]") {
    const std::string text = noise_text(sample::job(), sample::uncalibrated(sample::noise()));
    CHECK(holds(text, "-61.5 dBFS (not calibrated)"));
    CHECK(holds(text, "hushtrace calibrate"));
    CHECK_FALSE(holds(text, "dBV"));
}

TEST_CASE("a silent channel is told as such, once", "[text]") {
    NoiseAnalysis analysis = sample::noise();
    FloorReading& floor = analysis.floor[0];
    floor.unweighted = floor.broadband = floor.a_weighted = floor.c_weighted = floor.itu468 = {};
    CHECK(holds(noise_text(sample::job(), analysis), "  left           digital silence\n"));
}

TEST_CASE("the noise floor is a table within 80 columns, tones beside it", "[text]") {
    const std::string text = noise_text(sample::job(), sample::uncalibrated(sample::noise()));
    CHECK(holds(text, "                     all no tones       A       C     468  468 qp\n"));
    CHECK(holds(text, "  left              -98.0   -99.0  -101.0   -98.5   -95.0       - dBFS ±0.1 *\n"));
    CHECK(holds(text, "  tones, left: 50.00 Hz -100.0\n"));
    CHECK(holds(text, "* limited by the interface's own noise"));
}

TEST_CASE("nothing found is said in words", "[text]") {
    NoiseAnalysis analysis;
    analysis.takes = {"takes/off.flac"};
    CHECK(holds(noise_text(sample::job(), analysis), "Nothing found above the floor."));
}

TEST_CASE("hostile and long text stays within 80 columns and moves no cursor", "[text]") {
    OpenedJob opened = sample::job();
    opened.job.title = "\x1b[2J" + std::string(300, 'x') + " \u8f66\u8f86\u566a\u58f0 \x9b\x07";
    NoiseAnalysis analysis = sample::noise();
    analysis.actions[0].why = std::string(500, 'w');
    for (int i = 0; i < 200; ++i) analysis.noise_sources.push_back(analysis.noise_sources[1]);
    const std::string text = noise_text(opened, analysis);
    require_80_columns(text);
    CHECK_FALSE(holds(text, "\x1b"));
    CHECK_FALSE(holds(text, "\x07"));
    CHECK(holds(text, "202. Mains hum at 50.00 Hz"));
}

TEST_CASE("the terminal tells the ceiling and each amplifier's setting", "[text]") {
    const std::string text = gain_text(sample::job(), sample::gain());
    require_80_columns(text);
    CHECK(holds(text, "Stay at volume 31 or below"));
    CHECK(holds(text, "sensitivity 2.36 V"));
    CHECK(holds(text, "until its output reads 31.6 V"));
    CHECK(holds(text, "! outside the amplifier's range 0.2 to 6 V"));
    CHECK(holds(text, "Limit: 1.0 % THD (the usual one)."));
    CHECK(holds(text, "<- ceiling"));
    CHECK(holds(text, "THD counts harmonics 2 to 20\n"));
    CHECK(holds(text, "THD counts harmonics 2 to 7; 13 more below 20 kHz are missing"));
}

TEST_CASE("nothing is turned up until a voltage is read where there is no ceiling", "[text]") {
    GainAnalysis gain = sample::gain();
    gain.ceiling.reset();
    for (const char* reason : {"always_distorted", "input_overloaded", "too_noisy", "never_clips"}) {
        gain.ceiling_reason = reason;
        CAPTURE(reason);
        CHECK(holds(gain_text(sample::job(), gain), "until its output reads") == (gain.ceiling_reason == "never_clips"));
    }
}

TEST_CASE("the tone that must bring the target is named where it isn't the ceiling's", "[text]") {
    GainAnalysis gain = sample::gain();
    AmplifierSetting& sub = gain.amplifiers[0];
    sub.volume = 31;
    sub.tone_hz = 997;
    sub.tone_dbfs = sub.confirm_tone_dbfs = 0;
    CHECK(holds(gain_text(sample::job(), gain), "31.6 V with the ceiling's tone"));
    sub.tone_hz = 45;
    CHECK(holds(gain_text(sample::job(), gain), "31.6 V with a tone of 45 Hz at 0 dBFS"));
    sub.tone_hz = 997;
    sub.tone_dbfs = -12;  // another one of the tones was at full scale
    CHECK(holds(gain_text(sample::job(), gain), "31.6 V with a tone of 0 dBFS at"));
    sub.allowance_from = "job";
    sub.tone_dbfs = 0;
    sub.confirm_tone_dbfs = -3;
    CHECK(holds(gain_text(sample::job(), gain), "31.6 V with a tone of -3 dBFS at"));
}

TEST_CASE("a figure that something limits says so in a word", "[text]") {
    GainAnalysis gain = sample::gain();
    gain.curves[0].steps[0].thd_limited_by = LimitedBy::noise;
    Knee knee;
    knee.kind = "hard";
    knee.sides = "upper";
    knee.dbfs = Reading{-4.4, 0.01, LimitedBy::interface};
    gain.curves[0].knee = knee;
    const std::string text = gain_text(sample::job(), gain);
    require_80_columns(text);
    CHECK(holds(text, "THD below 0.024 % (noise)"));
    CHECK(holds(text, "THD 0.030 % ±0.004 %"));
    CHECK(holds(text, "clips at -4.40 dBFS ±0.02 dB: hard, the upper side alone, limited by the\n  interface"));
    NoiseAnalysis noise = sample::noise();
    noise.noise_sources[0].levels[0].limited_by = LimitedBy::noise;
    noise.floor[2].unweighted.dbv->limited_by = LimitedBy::length;
    noise.floor[2].unweighted.dbv->sd = 0.7;
    const std::string told = noise_text(sample::job(), noise);
    require_80_columns(told);
    CHECK(holds(told, "(4.16 mV) ±0.6 dB, limited by noise"));
    CHECK(holds(told, "dBV ±1.4\n"));
    CHECK(holds(told, "~ limited by the take's length"));
}

TEST_CASE("a source that distorts at every volume fails a written limit", "[text]") {
    OpenedJob opened = sample::job();
    GainAnalysis analysis = sample::gain();
    analysis.ceiling.reset();
    analysis.ceiling_reason = "always_distorted";
    analysis.ceiling_text = "Distorted at every volume.";
    CHECK_FALSE(holds(gain_text(opened, analysis), "FAILS"));
    opened.job.limits.ceiling_thd_percent = 0.01;
    CHECK(holds(gain_text(opened, analysis), "FAILS the limit"));
}

TEST_CASE("a band's edges are written as the round numbers that they are", "[wording]") {
    NoiseSource hiss;
    hiss.kind = NoiseKind::hiss;
    hiss.band_hz = {20.0, 20000.0};
    CHECK(headline(hiss) == "Hiss, 20 Hz to 20 kHz");
}

TEST_CASE("figures have the digits that were asked for, also where rounding carries", "[wording]") {
    CHECK(frequency_text(50.0) == "50.00 Hz");
    CHECK(frequency_text(999.94) == "999.9 Hz");
    CHECK(frequency_text(999.96) == "1.000 kHz");
    CHECK(frequency_text(9.9999) == "10.00 Hz");
    CHECK(frequency_text(19999.6) == "20.00 kHz");
    CHECK(volts_text(0.0099999) == "10.0 mV");
    CHECK(volts_text(0.00003124) == "31.2 µV");
    CHECK(volts_text(31.62) == "31.6 V");
    CHECK(volts_text(0.0) == "0 V");
    CHECK(figures_text(12345.0, 2) == "12000");
    CHECK(change_text(-25.2, 5.0) == "25 dB quieter (±5)");
    CHECK(change_text(3.0, std::nullopt) == "3 dB louder");
    CHECK(distortion_text(8e-5) == "below 0.001 %");
    CHECK(distortion_text(3.42) == "3.4 %");
    CHECK(change_text(0.2, std::nullopt) == "no change");
}

TEST_CASE("bytes that are no UTF-8 are replaced, letters of all kinds kept", "[wording]") {
    CHECK(clean_text("a\xC0\xAF"
                     "b") ==
          "a\xEF\xBF\xBD\xEF\xBF\xBD"
          "b");  // an overlong slash, RFC 3629 section 3
    CHECK(clean_text("\xED\xA0\x80") ==
          "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD");  // a surrogate, RFC 3629 section 3
    CHECK(clean_text("Übung 車 \U0001F697") == "Übung 車 \U0001F697");
    CHECK(clean_text("tab\there\u202Ereversed") == "tab here reversed");
    CHECK(clean_text("cut \xE8\xBB") == "cut \xEF\xBF\xBD\xEF\xBF\xBD");
    CHECK(display_width("車ab") == 4);
}

TEST_CASE("wrapping keeps every word and breaks those that are too long", "[wording]") {
    CHECK(wrap_text("one two  three", 7) == std::vector<std::string>{"one two", "three"});
    CHECK(wrap_text("abcdefghij", 4) == std::vector<std::string>{"abcd", "efgh", "ij"});
    CHECK(wrap_text("  ", 4).empty());
    CHECK(wrap_text("車車車", 4) == std::vector<std::string>{"車車", "車"});
}
