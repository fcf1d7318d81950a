// What feeds an amplifier, what it must put out and where its dial must stand, by curves that are set by hand.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/amplifier_maker.hpp"

using namespace hushtrace;
using namespace amplifier_maker;

namespace {

double ratio(double db) { return std::pow(10.0, db / 20); }
SpeakerData speaker(std::optional<double> power_w, std::optional<double> ohm = {}, const std::string& amplifier = "front") {
    SpeakerData out;
    out.amplifier = amplifier;
    out.power_w = power_w;
    out.impedance_ohm = ohm;
    return out;
}

}  // namespace

TEST_CASE("a curve's level at a volume: as played, between two in decibels, else nothing", "[amplifier]") {
    Bench bench;
    GainCurve& curve = bench.add_curve("b.wav", Channel::right, {{30, 0}, {10, -20}, {20, -12}, {16, -14}, {26, -3}});
    curve.clean_step = 0;
    curve.curve.steps[1].level_sd_db = 0.09;
    const FeedLevel top = *level_at(curve, std::nullopt);
    CHECK(top.v == 2.0);
    CHECK(top.sd_db == 0.02);
    CHECK(*top.v_sd == Approx(0.02));
    CHECK_FALSE(top.between_steps);
    CHECK_FALSE(top.volume_unknown);
    CHECK(level_at(curve, 20)->v == Approx(2.0 * ratio(-12)));
    CHECK_FALSE(level_at(curve, 20)->between_steps);
    CHECK(*level_at(curve, 20)->v_sd == Approx(0.02 * ratio(-12)));
    // a third of the way from 20 to 26: -9 dB; the sd of the scale is that of the lower one's share
    const FeedLevel between = *level_at(curve, 22);
    CHECK(between.v == Approx(2.0 * ratio(-9)));
    CHECK(between.between_steps);
    CHECK(*between.v_sd == Approx(0.02 * ratio(-9)));
    CHECK_FALSE(between.volume_unknown);
    CHECK(level_at(curve, 14)->v == Approx(2.0 * ratio(-16)));
    CHECK(level_at(curve, 14)->sd_db == 0.09);   // the less sure one of the two
    CHECK(*level_dbfs_at(curve, 14) == Approx(20 * std::log10(2.0 / volts_of(0)) - 16));
    CHECK(*level_dbfs_at(curve, 30) == Approx(20 * std::log10(2.0 / volts_of(0))));
    CHECK_FALSE(level_at(curve, 9));
    CHECK_FALSE(level_at(curve, 31));
    CHECK_FALSE(level_dbfs_at(curve, 31));
    curve.curve.steps[2].input_overload = true;   // 20 no longer counts: from 16 to 26, 11 dB
    CHECK(level_at(curve, 20)->v == Approx(2.0 * ratio(-14 + 0.4 * 11)));
    curve.curve.steps[3].level_v.reset();
    CHECK_FALSE(level_at(curve, 20));
    for (VolumeStep& step : curve.curve.steps) step.volume.reset();
    CHECK(level_at(curve, 20)->v == 2.0);
    CHECK(level_at(curve, 20)->volume_unknown);
    CHECK_FALSE(level_at(curve, std::nullopt)->volume_unknown);
    curve.curve.steps[0].level_v_sd.reset();
    CHECK_FALSE(level_at(curve, 20)->v_sd);
    curve.clean_step.reset();
    CHECK_FALSE(level_at(curve, std::nullopt));
    // the highest volume that stays below some volts
    const GainCurve& plain = bench.curves.front();
    CHECK(highest_volume_below(plain, 2.0) == 23.0);
    CHECK(highest_volume_below(plain, 1.999) == 22.0);
    CHECK_FALSE(highest_volume_below(plain, 0.9));
}

TEST_CASE("the curves that feed an amplifier: by its channels, its name, or what was captured at it", "[amplifier]") {
    Bench bench;
    bench.curves.clear();
    const std::vector<std::pair<double, double>> steps = {{20, -6}};
    std::vector<GainCurve> curves;
    curves.push_back(bench.add_curve("l", Channel::left, steps));
    curves.push_back(bench.add_curve("r", Channel::right, steps));
    curves.push_back(bench.add_curve("s", Channel::sub, steps));
    const auto fed = [&] {
        std::string files;
        bench.setting.notes.clear();
        for (const GainCurve* one : curves_for(bench.amplifier(), curves, bench.setting.notes)) files += one->curve.take;
        return files;
    };
    CHECK(fed() == "lr");
    bench.amplifier().name = "My SubWoofer";
    CHECK(named_sub(bench.amplifier()));
    CHECK(fed() == "s");
    bench.amplifier().channels = {Channel::right, Channel::left};
    CHECK(fed() == "rl");
    CHECK(bench.setting.notes.empty());
    bench.amplifier().channels = {Channel::center, Channel::left, Channel::rear_left};
    CHECK(fed() == "l");
    CHECK(bench.setting.notes == std::vector<std::string>{"no clean step of its channel center, rear_left was captured"});
    bench.amplifier().channels = {Channel::center};
    CHECK(fed() == "lrs");
    CHECK(bench.noted("no clean step of its channel center was captured; the other channels stand in"));
    bench.amplifier().channels.clear();
    curves.pop_back();   // a subwoofer's without a sub channel
    CHECK(fed() == "lr");
    bench.amplifier().name = "front";
    CHECK_FALSE(named_sub(bench.amplifier()));
    curves[0].clean_step.reset();
    CHECK(fed() == "r");
    curves[0].clean_step = 0;
    curves[1].tone_is_stepped = true;
    CHECK(fed() == "l");
    curves[1].tone_is_stepped = false;
    bench.stepped[2].conditions.at_amplifier = "front";   // the takes of r: the first was the bench's own
    CHECK(fed() == "r");
    bench.stepped[2].conditions.at_amplifier = "rear";
    CHECK(fed() == "l");
    bench.stepped[1].conditions.at_amplifier = "rear";
    CHECK(fed().empty());
    bench.amplifier().channels = {Channel::left};
    CHECK(fed().empty());
    CHECK(bench.setting.notes.empty());
    CHECK_FALSE(above_zero(std::nullopt));
    CHECK_FALSE(above_zero(0.0));
    CHECK_FALSE(above_zero(INFINITY));
    CHECK(above_zero(1e-6));
}

TEST_CASE("the target is the weaker of amplifier and speakers", "[amplifier]") {
    Bench bench;
    const auto target = [&] {
        bench.setting = {};
        AmplifierCase the = bench.made();
        set_target(the, bench.setting);
        return std::pair(bench.setting.target_output_v.value_or(0), the.weakest ? *the.weakest->power_w : 0.0);
    };
    CHECK(target() == std::pair(20.0, 0.0));
    CHECK(bench.setting.target_limited_by == "amplifier");
    // of several the one that stands the fewest volts: 17.3, 14.1, 15.5; not what hangs on another amplifier, or is not rated
    bench.job.job.speakers = {speaker(75), speaker(25, 8), speaker(30, 8), speaker(1, 4, "rear"), speaker(0), speaker({}), speaker(10, 0)};
    CHECK(target().first == Approx(std::sqrt(200.0)));
    CHECK(target().second == 25);
    CHECK(bench.setting.target_limited_by == "speaker");
    CHECK(*bench.setting.rated_output_v == 20.0);
    CHECK(bench.noted("its speaker takes 14.1 V (25 W into 8 ohm), less than the amplifier's 20.0 V (100 W into 4 ohm): the target is 14.1 V"));
    bench.job.job.speakers = {speaker(75)};
    CHECK(target().first == Approx(std::sqrt(300.0)));
    CHECK(bench.noted("its speaker takes 17.3 V (75 W into 4 ohm), less"));
    // rated alike, to half a percent of the volts: 98.5 W of 100 is none less, 99.1 W would be 0.45 %
    bench.job.job.speakers = {speaker(98.5)};
    CHECK(target().first == Approx(std::sqrt(394.0)));
    bench.job.job.speakers = {speaker(99.1)};
    CHECK(target().first == 20.0);
    CHECK(bench.setting.notes.empty());
    CHECK(bench.setting.target_limited_by == "amplifier");
    for (auto AmplifierData::*unknown : {&AmplifierData::power_w, &AmplifierData::load_ohm}) {
        Bench none;
        none.amplifier().*unknown = 0.0;
        none.set();
        CHECK_FALSE(none.setting.target_output_v);
        CHECK_FALSE(none.setting.rated_output_v);
        CHECK(none.setting.target_limited_by.empty());
        CHECK(none.noted("power_w and load_ohm"));
        CHECK_FALSE(none.setting.gain_db);
        CHECK(*none.setting.sensitivity_v == Approx(2.0));
        CHECK(none.setting.dial);   // the dial says volts, whatever the power
    }
}

TEST_CASE("gain and sensitivity follow from target and feed, with what they are unsure by", "[amplifier]") {
    Bench bench;
    bench.curves[0].curve.tone_hz = 200;
    const AmplifierSetting& plain = bench.set();
    CHECK(*plain.input_v_at_ceiling == Approx(2.0));
    CHECK(*plain.input_v_at_ceiling_sd == Approx(0.02));
    CHECK(*plain.sensitivity_v == Approx(2.0));
    CHECK(*plain.sensitivity_v_sd == Approx(0.02));
    CHECK(*plain.gain_db == Approx(20.0));
    CHECK(*plain.gain_sd_db == Approx(20 * std::log10(1.01)));
    CHECK(*plain.dial_sensitivity_v == Approx(2.0));
    CHECK(plain.allowance_db == 0);
    CHECK(plain.allowance_from.empty());
    CHECK(*plain.confirm_tone_dbfs == 0);
    CHECK(*plain.tone_hz == 200);
    CHECK(*plain.tone_dbfs == 0);
    CHECK_FALSE(plain.full_scale);
    CHECK(plain.notes.empty());
    bench.curves[0].curve.steps[3].level_v_sd.reset();
    bench.set();
    CHECK_FALSE(plain.input_v_at_ceiling_sd);
    CHECK_FALSE(plain.gain_sd_db);
    // an allowance: the option's stands before the job's, that before the tone's
    bench.amplifier().allowance_db = 3.0;
    bench.set();
    CHECK(plain.allowance_from == "job");
    CHECK(*plain.gain_db == Approx(23.0));
    CHECK(*plain.sensitivity_v == Approx(2.0 * ratio(-3)));
    bench.request.allowance_db = 6.0;
    bench.set();
    CHECK(plain.allowance_from == "option");
    CHECK(*plain.gain_db == Approx(26.0));
    CHECK(*plain.confirm_tone_dbfs == -6.0);
    CHECK(plain.full_scale->over_rails_db == Approx(6.0));
    CHECK(plain.full_scale->thd_percent == Approx(23).margin(0.5));   // docs/amplifier-gain.md
    CHECK(plain.full_scale->power_asked_w == Approx(100 * std::pow(10.0, 0.6)));
    // a speaker that sets the target leaves room below the rails: 25 W of 100, 6.02 dB
    bench.job.job.speakers = {speaker(25)};
    bench.set();
    CHECK(plain.full_scale->over_rails_db == Approx(0).margin(1e-9));
    CHECK(plain.full_scale->thd_percent == Approx(0).margin(1e-9));
    CHECK(plain.full_scale->power_asked_w == Approx(25 * std::pow(10.0, 0.6)));
    CHECK(plain.full_scale->power_out_w == Approx(25 * std::pow(10.0, 0.6)));
    CHECK(*plain.dial_sensitivity_v == Approx(4.0 * ratio(-6)));
    CHECK(bench.noted("brings its speaker up to 100 W, more than the 25 W"));
    bench.request.allowance_db = 0.01;   // 25.06 W: as good as what it is rated for
    bench.set();
    CHECK_FALSE(bench.noted("a passage at full scale"));
    bench.request.allowance_db = 0.03;   // 25.17 W
    bench.set();
    CHECK(bench.noted("a passage at full scale"));
}

TEST_CASE("a tone below full scale says what full scale would ask", "[amplifier]") {
    Bench bench;
    bench.curves[0].tone_level_dbfs = -5;
    const AmplifierSetting& one = bench.set();
    CHECK(*one.input_v_at_ceiling == Approx(2.0 * ratio(5)));
    CHECK(*one.input_v_at_ceiling_sd == Approx(0.02 * ratio(5)));
    CHECK(*one.sensitivity_v == Approx(2.0));
    CHECK(one.allowance_from == "tone");
    CHECK(one.allowance_db == 5);
    CHECK(bench.noted("measured with a tone of -5 dBFS: that tone must bring the target output from 2.00 V. A recording that reaches full "
                      "scale asks for 3.56 V there, 5 dB more"));
    bench.request.allowance_db = 3;
    bench.set();
    CHECK(bench.noted("that tone must bring 2.0 dB less than the target output from 2.00 V"));
    bench.request.allowance_db = 4.5;
    bench.set();
    CHECK(bench.noted("that tone must bring 0.5 dB less than the target output"));
    bench.request.allowance_db = 7.5;
    bench.set();
    CHECK(bench.noted("that tone must bring 2.5 dB more than the target output from 2.00 V"));
    // a tone as good as full scale is one
    Bench plain;
    plain.curves[0].curve.tone_hz = 200;
    plain.curves[0].tone_level_dbfs = -0.04;
    plain.set();
    CHECK(plain.setting.allowance_from.empty());
    CHECK(plain.setting.allowance_db == 0);
    CHECK(plain.setting.notes.empty());
    plain.curves[0].tone_level_dbfs = -0.06;
    plain.set();
    CHECK(plain.setting.allowance_from == "tone");
    CHECK(plain.noted("measured with a tone of -0.06 dBFS"));
    // of several tones the one nearest to full scale counts
    Bench several;
    several.curves[0].tone_level_dbfs = -12;
    AmplifierCase the = several.made();
    the.highest_tone_dbfs = -3;
    set_target(the, several.setting);
    set_gain(the, several.setting);
    CHECK(several.setting.allowance_db == 3);
    CHECK(*several.setting.sensitivity_v == Approx(2.0 * ratio(12 - 3)));
    // where the volume lies between two, or isn't known, that is said
    Bench between;
    between.setting.volume = 22.5;
    between.set();
    CHECK(between.noted("volume 22.5 wasn't played on the left channel"));
    for (VolumeStep& step : between.curves[0].curve.steps) step.volume.reset();
    between.set();
    CHECK(between.noted("the volumes of steps.wav aren't known: the level of its highest clean step is taken for that at volume 22.5"));
}

TEST_CASE("the dial's place by its law, its turn and its marks", "[amplifier]") {
    Bench bench;
    bench.curves[0].curve.tone_hz = 200;
    const DialPlace assumed = *bench.set().dial;
    CHECK(assumed.law == DialLaw::logarithmic);
    CHECK(assumed.law_assumed);
    CHECK(assumed.travel == Approx(std::log(3.0) / std::log(30.0)));
    CHECK(assumed.turn_deg == 300);
    CHECK(assumed.turn_assumed);
    CHECK(assumed.clock_hours == Approx(12 + (assumed.travel - 0.5) * 300 / 30));
    CHECK_FALSE(assumed.mark);
    bench.amplifier().dial_law = DialLaw::linear_volts;
    bench.amplifier().dial_turn_deg = 180;
    bench.amplifier().dial_marks = {2, 10};
    bench.amplifier().sensitivity_v = {6.0, 0.2};   // whichever end was written first
    const DialPlace stated = *bench.set().dial;
    CHECK(stated.law == DialLaw::linear_volts);
    CHECK_FALSE(stated.law_assumed);
    CHECK_FALSE(stated.turn_assumed);
    CHECK(stated.travel == Approx(4.0 / 5.8));
    CHECK(stated.clock_hours == Approx((4.0 / 5.8 - 0.5) * 180 / 30));   // past 12
    CHECK(*stated.mark == Approx(2 + 8 * 4.0 / 5.8));
    for (const auto& ends : {std::array<double, 2>{2.0, 2.0}, std::array<double, 2>{0.0, 6.0}}) {   // no dial at all
        bench.amplifier().sensitivity_v = ends;
        bench.set();
        CHECK_FALSE(bench.setting.dial);
        CHECK_FALSE(bench.setting.gain_reached_db);
        CHECK(bench.setting.notes.empty());
    }
    bench.amplifier().sensitivity_v.reset();
    CHECK_FALSE(bench.set().dial);
}

TEST_CASE("beyond the dial's ends it is told what its end gives and what is missing", "[amplifier]") {
    Bench bench;
    bench.amplifier().sensitivity_v = {4.0, 8.0};
    const AmplifierSetting& weak = bench.set();   // half the volts that the most sensitive end wants: 6.02 dB short
    CHECK_FALSE(weak.dial);
    CHECK(*weak.gain_reached_db == Approx(20 * std::log10(5.0)));
    CHECK(*weak.reached_output_v == Approx(10.0));
    CHECK(*weak.reached_power_w == Approx(25.0));
    CHECK(bench.noted("outside the amplifier's range 4 to 8 V: at its most sensitive end it still falls 6.0 dB short of its target and reaches 10.0 "
                      "V, 25 W of 100 W. Leave it there, or get 6.0 dB more to its input"));
    bench.amplifier().sensitivity_v = {0.1, 1.5};   // 2.5 dB too much: 23 would be 0, 22 two below, 21 four
    const AmplifierSetting& strong = bench.set();
    CHECK(*strong.gain_reached_db == Approx(20 * std::log10(20 / 1.5)));
    CHECK(*strong.reached_output_v == Approx(20.0));
    CHECK(*strong.reached_power_w == Approx(100.0));
    CHECK(bench.noted("outside the amplifier's range 0.1 to 1.5 V: even at its least sensitive end it reaches its target before the source reaches "
                      "its ceiling; stay 2.5 dB below the ceiling (volume 21 at most), or put a pad of 3 dB before its input"));
    bench.amplifier().sensitivity_v = {0.1, 0.5};   // 12 dB: none was played so low
    bench.set();
    CHECK(bench.noted("stay 12.0 dB below the ceiling, or put a pad of 13 dB"));
    bench.amplifier().power_w.reset();
    bench.set();
    CHECK_FALSE(bench.setting.gain_reached_db);
    CHECK_FALSE(bench.noted("outside"));
}

TEST_CASE("levels of source and input that don't fit are refused or noted", "[amplifier]") {
    struct Row {
        std::optional<OutputKind> source, input;
        bool converter, refused, high_level_noted, line_noted;
    };
    const auto line = OutputKind::line, high = OutputKind::speaker;
    const Row rows[] = {
        {line, line, false, false, false, false}, {high, high, false, false, false, false}, {high, line, false, true, false, false},
        {high, line, true, false, false, false},  {line, high, false, false, true, false},  {line, high, true, false, true, true},
        {high, high, true, false, false, true},   {high, {}, false, false, false, false},   {{}, high, false, false, false, false},
    };
    for (const Row& row : rows) {
        Bench bench;
        bench.job.job.source.output = row.source;
        bench.amplifier().input = row.input;
        if (row.converter) bench.amplifier().converter = ConverterData{.loss_db = 6, .max_input_v = {}, .max_output_v = {}, .isolating = {}};
        bench.set();
        CHECK(bench.setting.refused.has_value() == row.refused);
        CHECK(bench.setting.gain_db.has_value() != row.refused);
        CHECK(bench.noted("a line output into a high-level input") == row.high_level_noted);
        CHECK(bench.noted("behind a line converter belongs a line input") == row.line_noted);
    }
}

TEST_CASE("a converter's volts are those of a full-scale tone, at either of its sides", "[amplifier]") {
    Bench bench;
    bench.curves[0].tone_level_dbfs = -6;
    bench.request.allowance_db = 0;
    bench.amplifier().converter = ConverterData{.loss_db = 12, .max_input_v = 15.9, .max_output_v = 4.0, .isolating = {}};
    const AmplifierSetting& behind = bench.set();
    const double full_v = 2.0 * ratio(6);   // 3.99 V behind it, 15.88 V before
    CHECK(*behind.converter_input_v == Approx(full_v * ratio(12)));
    CHECK(*behind.input_v_at_ceiling == Approx(full_v));
    CHECK_FALSE(bench.noted("clips first"));
    bench.amplifier().converter->max_input_v = 10.0;
    bench.amplifier().converter->max_output_v = 3.0;
    bench.set();   // 4.02 dB and 2.48 dB too much, volumes in steps of 2 dB
    CHECK(bench.noted("its line converter clips first: 15.89 V at its input is 4.0 dB more than the 10 V it takes. Stay 4.0 dB below the ceiling "
                      "(volume 20 at most), or"));
    CHECK(bench.noted("3.99 V at its output is 2.5 dB more than the 3 V it takes. Stay 2.5 dB below the ceiling (volume 21 at most)"));
    // captured ahead of it
    bench.stepped[0].conditions.point = Point::source_output;
    const AmplifierSetting& ahead = bench.set();
    CHECK(*ahead.converter_input_v == Approx(full_v));
    CHECK(*ahead.input_v_at_ceiling == Approx(full_v * ratio(-12)));
    CHECK(*ahead.input_v_at_ceiling_sd == Approx(0.02 * ratio(6 - 12)));
    CHECK_FALSE(bench.noted("clips first"));
    bench.amplifier().converter->max_output_v = 0.7;   // 1.0 V there: 3.1 dB, two steps
    bench.set();
    CHECK(bench.noted("at its output is 3.1 dB more than the 0.7 V it takes. Stay 3.1 dB below the ceiling (volume 21 at most)"));
    bench.amplifier().converter->max_output_v = 0.5;   // 1.0 V there: 6.02 dB, three steps
    bench.set();
    CHECK(bench.noted("at its output is 6.0 dB more than the 0.5 V"));
    CHECK_FALSE(bench.noted("at most)"));   // -6 dB is the lowest, and a little too much
    bench.amplifier().sensitivity_v = {0.1, 0.8};   // the dial: 1 V, 1.96 dB too much
    bench.set();
    CHECK(bench.noted("stay 2.0 dB below the ceiling (volume 22 at most)"));
    bench.amplifier().converter->loss_db.reset();
    bench.set();
    CHECK(bench.setting.refused);
    CHECK_FALSE(bench.setting.input_v_at_ceiling);
    bench.stepped[0].conditions.point = Point::amp_input;   // its loss is part of what was captured
    bench.set();
    CHECK_FALSE(bench.setting.refused);
    CHECK_FALSE(bench.setting.converter_input_v);
    CHECK(*bench.setting.input_v_at_ceiling == Approx(full_v));
}

TEST_CASE("an output is read with a tone that the amplifier passes and a plain meter reads", "[amplifier]") {
    struct Row {
        const char* name;
        double captured_hz, confirm_hz;
    };
    // sub 40 to 50 Hz; plain meters read low above some 400 Hz (common practice, no source)
    const Row rows[] = {{"front", 1000, 200}, {"front", 401, 200}, {"front", 400, 400}, {"front", 200, 200}, {"front", 50, 50},
                        {"sub", 1000, 45},    {"sub", 200, 45},    {"sub", 81, 45},     {"sub", 80, 80},     {"my SUB amp", 45, 45}};
    for (const Row& row : rows) {
        Bench bench;
        bench.amplifier().name = row.name;
        bench.curves[0].curve.tone_hz = row.captured_hz;
        const AmplifierSetting& one = bench.set();
        CAPTURE(row.name, row.captured_hz);
        CHECK(*one.confirm_tone_hz == row.confirm_hz);
        CHECK(bench.noted("read its output with") == (row.captured_hz != row.confirm_hz));
        CHECK(bench.noted("a sub's low-pass") == (row.captured_hz != row.confirm_hz && row.confirm_hz == 45));
    }
    // a speaker's kind says more than a name; a tweeter stands no low tone
    for (const auto& [kind, hz] : {std::pair{SpeakerKind::subwoofer, 45.0}, {SpeakerKind::woofer, 200.0}, {SpeakerKind::tweeter, 1000.0}}) {
        Bench bench;
        bench.job.job.speakers = {speaker({})};
        bench.job.job.speakers[0].kind = kind;
        CHECK(*bench.set().confirm_tone_hz == hz);
    }
}

TEST_CASE("a speaker below the load that the power is stated for is warned of", "[amplifier]") {
    for (const double ohm : {1.0, 3.79, 3.81, 4.0, 8.0}) {
        Bench bench;
        bench.job.job.speakers = {speaker({}, ohm)};
        CAPTURE(ohm);
        bench.set();
        CHECK(bench.noted("lies below the 4 ohm that its power is stated for") == (ohm < 3.8));
        bench.amplifier().bridged_output = true;
        bench.set();
        CHECK(bench.noted("on a bridged output") == (ohm < 3.8));
    }
}
