// Readings at an amplifier's output, held against what the source delivers: verdicts, figures and words, of curves set by hand.
#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/amplifier_maker.hpp"
#include "holds.hpp"

using namespace hushtrace;
using namespace amplifier_maker;

namespace {

double ratio(double db) { return std::pow(10.0, db / 20); }

/// Target 20 V from 2 V at volume 23: a gain of 20 dB.
struct Output : Bench {
    Take take;
    std::vector<GainCurve> read;

    Output() {
        take.file = "out.wav";
        take.conditions.point = Point::amp_output;
        take.conditions.volume = 23.0;
        take.attenuation_db = {20.0};
        GainCurve& one = read.emplace_back();
        one.take = &take;
        one.curve.take = take.file;
        one.curve.channel = Channel::left;
        one.curve.tone_hz = 1000;
    }
    VolumeStep& add(std::optional<double> volts, double thd_percent, std::optional<double> volume = {}) {
        VolumeStep& step = read[0].curve.steps.emplace_back();
        step.volume = volume;
        step.level_v = volts;
        step.level_dbfs = volts ? 20 * std::log10(*volts / volts_of(20)) : -3;
        step.thd_percent = thd_percent;
        step.thd_sd_percent = 0.05;
        return step;
    }
    void meter(double volts, std::optional<Waveform> tone, std::optional<double> volume = 23.0) {
        Observation seen;
        seen.what = "amplifier_output";
        seen.value = volts;
        seen.conditions.volume = volume;
        if (tone) seen.tone = PlayedTone{*tone, ToneVia::stick};
        job.job.observations = {seen};
    }
    std::vector<OutputReading> readings(double limit_thd_percent = 1.0) {
        set();
        AmplifierCase the = made();
        AmplifierSetting scratch;
        pass_converter(the, scratch);
        check_output(the, read, limit_thd_percent, setting);
        return setting.output_readings;
    }
    OutputReading reading() {
        const auto all = readings();
        REQUIRE(all.size() == 1);
        return all[0];
    }
};

}  // namespace

TEST_CASE("a take at the output: what was read, what it should be, and by how much to turn", "[amplifier]") {
    struct Row {
        double volts;
        const char *verdict, *words;
    };
    const Row rows[] = {
        {20.0 * ratio(0.49), "at_target", ", 20.0 V wanted: at the target (within 0.5 dB)"},
        {20.0 * ratio(-0.49), "at_target", "at the target"},
        {20.0 * ratio(0.51), "turn_down", ", 20.0 V wanted: 0.5 dB too high. Turn its gain down by 0.5 dB, until it reads 20.0 V"},
        {20.0 * ratio(-3), "turn_up", ", 20.0 V wanted: 3.0 dB too low. Turn its gain up by 3.0 dB, until it reads 20.0 V, and read again"},
    };
    for (const Row& row : rows) {
        Output out;
        out.add(row.volts, 0.1).level_v_sd = 0.03 * row.volts;
        const OutputReading one = out.reading();
        CHECK(one.verdict == row.verdict);
        CHECK(holds(one.text, row.words));
        CHECK(one.take == "out.wav");
        CHECK_FALSE(one.observation);
        CHECK(one.channel == Channel::left);
        CHECK(*one.volume == 23);
        CHECK(*one.tone_hz == 1000);
        CHECK(*one.tone_dbfs == 0);
        CHECK(*one.measured_v == row.volts);
        CHECK(*one.expected_v == Approx(20.0));
        CHECK(*one.measured_sd_db == Approx(20 * std::log10(1.03)));
        CHECK(*one.thd_percent == 0.1);
        CHECK(*one.gain_now_db == Approx(20 * std::log10(row.volts / 2)));
        CHECK(*one.gain_sd_db == Approx(std::hypot(20 * std::log10(1.03), 20 * std::log10(1.01))));
        CHECK(*one.turn_db == Approx(20 * std::log10(20 / row.volts)));
        CHECK_FALSE(one.clips_from_v);
        CHECK_FALSE(holds(one.text, "goes no further"));
        CHECK_FALSE(holds(one.text, "No pad"));
    }
    Output out;
    out.add(15.0, 0.1);
    CHECK(holds(out.reading().text, "out.wav, left: 15.0 V at volume 23 with 1000 Hz at 0 dBFS, 20.0 V wanted"));
    CHECK_FALSE(out.reading().measured_sd_db);
    out.take.attenuation_db.clear();
    CHECK(holds(out.reading().text, ". No pad was stated for this take (attenuation_db): none is assumed"));
    // with the dial at its end already: 4 V wanted for 20, so it reaches 14 dB, 10 V
    out.amplifier().sensitivity_v = {4.0, 8.0};
    out.read[0].curve.steps.clear();
    out.add(10.0 * ratio(-0.45), 0.1);
    CHECK(holds(out.reading().text, "; its dial goes no further"));
    out.read[0].curve.steps[0].level_v = 10.0 * ratio(-0.55);
    CHECK_FALSE(holds(out.reading().text, "; its dial goes no further"));
}

TEST_CASE("what the input got is that of the reading's volume and tone, through a converter", "[amplifier]") {
    Output out;
    out.take.conditions.volume = 21.0;   // 4 dB below
    out.read[0].tone_level_dbfs = -6;
    out.add(20.0, 0.1);
    CHECK(*out.reading().expected_v == Approx(20.0 * ratio(-10)));
    CHECK(*out.reading().turn_db == Approx(-10.0));
    CHECK(*out.reading().tone_dbfs == -6);
    out.stepped[0].conditions.point = Point::source_output;
    out.amplifier().converter = ConverterData{.loss_db = 6, .max_input_v = {}, .max_output_v = {}, .isolating = {}};
    CHECK(*out.reading().gain_now_db == Approx(20 + 10 + 6));
    out.amplifier().converter.reset();
    // the step's own volume stands before the take's, that before the setting's
    out.read[0].curve.steps[0].volume = 22.0;
    CHECK(*out.reading().volume == 22.0);
    out.read[0].curve.steps[0].volume.reset();
    out.take.conditions.volume.reset();
    CHECK(*out.reading().volume == 23.0);
    // above the ceiling the source clips by itself
    out.take.conditions.volume = 24.0;
    const OutputReading above = out.reading();
    CHECK(above.verdict == "unknown");
    CHECK(holds(above.text, "out.wav, left: nothing to read of the tone at or below the source's ceiling"));
    CHECK_FALSE(above.measured_v);
    out.take.conditions.volume = 19.0;   // lower than any that was played
    const OutputReading below = out.reading();
    CHECK(below.verdict == "unknown");
    CHECK_FALSE(below.gain_now_db);
    CHECK(holds(below.text, ": what its input gets at that volume isn't known, so it tells no gain"));
    // uncalibrated
    out.read[0].curve.steps.clear();
    out.take.conditions.volume = 23.0;
    out.add(std::nullopt, 0.25);
    const OutputReading dbfs = out.reading();
    CHECK(dbfs.verdict == "unknown");
    CHECK(holds(dbfs.text, ": -3.0 dBFS, THD 0.25 %; not calibrated, so its volts aren't known"));
    CHECK(*dbfs.thd_percent == 0.25);
}

TEST_CASE("of an output's steps the loudest clean one counts, and the quietest that is bent", "[amplifier]") {
    Output out;
    out.add(12.0, 0.1);
    out.add(14.0, 0.89);   // 0.89 and twice 0.05: clean
    out.add(14.5, 0.92);   // neither
    out.add(18.0, 1.2);
    out.add(16.0, 1.11);   // bent
    out.add(19.0, 0.1).input_overload = true;
    const OutputReading one = out.reading();
    CHECK(*one.measured_v == 14.0);
    CHECK(*one.clips_from_v == 16.0);
    CHECK(one.verdict == "clips_below_target");
    CHECK(*one.thd_percent == 1.11);
    CHECK_FALSE(one.turn_db);
    CHECK(*one.gain_now_db == Approx(20 * std::log10(7.0)));
    CHECK(holds(one.text, "The amplifier itself clips from 16.0 V on (THD 1.1 %), with a clean input, below its target of 20.0 V"));
    // half a decibel below its target counts as met
    out.read[0].curve.steps = {};
    out.add(20.0 * ratio(-0.45), 3.0);
    out.add(18.0, 0.1);
    CHECK(out.reading().verdict == "turn_up");
    out.read[0].curve.steps[0].level_v = 20.0 * ratio(-0.55);
    CHECK(out.reading().verdict == "clips_below_target");
    // distorted alone tells no gain
    out.read[0].curve.steps = {};
    out.add(25.0, 3.0);
    const OutputReading bent = out.reading();
    CHECK(bent.verdict == "unknown");
    CHECK(*bent.measured_v == 25.0);
    CHECK(*bent.clips_from_v == 25.0);
    CHECK_FALSE(bent.gain_now_db);
    CHECK(holds(bent.text, ": distorted (THD 3"));
    CHECK(holds(bent.text, "so it tells no gain"));
    // the limit is the job's
    CHECK(out.readings(5.0)[0].verdict == "turn_down");
}

TEST_CASE("a meter's reading: which tone, which volume, and up to where it reads right", "[amplifier]") {
    Output out;
    out.read.clear();
    out.meter(20.0, Sine{1000, -3}, 22.0);
    out.job.job.observations[0].meter_good_to_hz = 1000;
    const OutputReading stated = out.reading();
    CHECK(*stated.observation == 0);
    CHECK_FALSE(stated.take);
    CHECK_FALSE(stated.channel);
    CHECK(*stated.tone_hz == 1000);
    CHECK(*stated.tone_dbfs == -3);
    CHECK(*stated.volume == 22);
    CHECK(*stated.gain_now_db == Approx(20 + 5));   // 2 dB by the volume, 3 by the tone
    CHECK(*stated.turn_db == Approx(-5));
    CHECK(*stated.expected_v == Approx(20 * ratio(-5)));
    // 1.5 % and 3 counts of 0.01 V are bounds, of 20 V: 0.33 V
    CHECK(*stated.measured_sd_db == Approx(20 * std::log10(1 + 0.33 / 20 / std::sqrt(3.0))).epsilon(0.001));
    CHECK(holds(stated.text, "the meter: 20.0 V at volume 22 with 1000 Hz at -3 dBFS, 11.2 V wanted: 5.0 dB too high"));
    CHECK(holds(stated.text, "1.5 % and 3 counts of 0.01 V are assumed (±0.2 dB)"));
    CHECK_FALSE(holds(stated.text, "wasn't stated"));
    CHECK_FALSE(holds(stated.text, "was captured at"));
    out.job.job.observations[0].meter_good_to_hz = 999;
    const OutputReading high = out.reading();
    CHECK(high.verdict == "unknown");
    CHECK_FALSE(high.gain_now_db);
    CHECK(holds(high.text, "a plain meter reads low above some 999 Hz"));
    CHECK_FALSE(holds(high.text, "are assumed"));
    out.job.job.observations[0].meter_good_to_hz.reset();
    CHECK(holds(out.reading().text, "reads low above some 400 Hz"));
    // another tone than the one that was captured
    out.meter(20.0, Sine{400, 0});
    CHECK(holds(out.reading().text, "The source's level was captured at 1000 Hz and is taken to be the same at 400 Hz"));
    out.meter(20.0, Sine{50, 0});
    out.curves[0].curve.tone_hz = 50.4;   // 0.8 %: the same
    CHECK_FALSE(holds(out.reading().text, "was captured at"));
    out.curves[0].curve.tone_hz = 50.6;
    CHECK(holds(out.reading().text, "was captured at 50.6 Hz"));
    // nothing stated: the tone that should confirm the setting, at the ceiling's volume
    out.curves[0].curve.tone_hz = 100;
    out.request.allowance_db = 3.0;
    out.meter(20.0, std::nullopt, std::nullopt);
    const OutputReading assumed = out.reading();
    CHECK(*assumed.tone_hz == 100);
    CHECK(*assumed.tone_dbfs == -3);
    CHECK(*assumed.volume == 23);
    CHECK(assumed.verdict == "at_target");
    CHECK(holds(assumed.text, "The tone wasn't stated: the one that should confirm the setting is assumed"));
    CHECK(holds(assumed.text, "The volume wasn't stated: the ceiling's is assumed"));
    // no sine: what the input gets can't be told
    out.meter(20.0, Pink{-20});
    const OutputReading noise = out.reading();
    CHECK(noise.verdict == "unknown");
    CHECK_FALSE(noise.tone_hz);
    CHECK(holds(noise.text, "the meter: 20.0 V at volume 23: what its input gets there isn't known, so it tells no gain"));
    out.meter(0.0, Sine{50, 0});
    const OutputReading dead = out.reading();
    CHECK(dead.verdict == "unknown");
    CHECK(holds(dead.text, "nothing came out; is the amplifier on, the tone playing?"));
    CHECK_FALSE(dead.gain_now_db);
    out.job.job.observations[0].value.reset();
    CHECK(out.readings().empty());
    out.meter(20.0, Sine{50, 0});
    out.job.job.observations[0].what = "ground_drop";
    CHECK(out.readings().empty());
    // volumes that aren't known
    out.meter(20.0, Sine{100, 0});
    for (VolumeStep& step : out.curves[0].curve.steps) step.volume.reset();
    CHECK(holds(out.reading().text, "The volumes of steps.wav aren't known"));
}

TEST_CASE("an output is held against the input of its own channel and tone where there is one", "[amplifier]") {
    Output out;
    const auto gain_against = [&](double right_db, double low_db, double right_low_db) {
        while (out.curves.size() > 1) out.curves.pop_back();
        for (const double db : {right_db, low_db, right_low_db})
            out.add_curve("more", db == low_db ? Channel::left : Channel::right, {{22, db - 2}, {23, db}}).curve.tone_hz = db == right_db ? 1000 : 50;
        return *out.reading().gain_now_db;
    };
    out.add(20.0, 0.1);
    CHECK(gain_against(-1, -2, -3) == Approx(20));   // left, 1000 Hz: the first
    out.read[0].curve.channel = Channel::right;
    CHECK(gain_against(-1, -2, -3) == Approx(21));
    out.read[0].curve.tone_hz = 50;
    CHECK(gain_against(-1, -2, -3) == Approx(23));
    out.read[0].curve.channel = Channel::left;
    CHECK(gain_against(-1, -2, -3) == Approx(22));
    out.read[0].curve.tone_hz = 200;   // the channel counts more than the tone
    out.read[0].curve.channel = Channel::right;
    CHECK(gain_against(-1, -2, -3) == Approx(21));
    out.read[0].curve.channel = Channel::sub;
    CHECK(gain_against(-1, -2, -3) == Approx(20));
    // a meter knows no channel: the tone decides, else the loudest
    out.read.clear();
    out.meter(20.0, Sine{50, 0});
    out.curves.pop_back();
    CHECK(*out.reading().gain_now_db == Approx(22));
    out.meter(20.0, Sine{60, 0});
    CHECK(*out.reading().gain_now_db == Approx(20));
    out.loudest = 1;
    CHECK(*out.reading().gain_now_db == Approx(21));   // in whichever place it stands
    out.loudest = 0;
    out.meter(20.0, Sine{50, 0});
    out.curves[2].clean_step.reset();   // one without a clean step tells nothing
    CHECK(*out.reading().gain_now_db == Approx(20));
}

TEST_CASE("a reading is an amplifier's by its name, else where no other may claim it", "[amplifier]") {
    struct Row {
        std::optional<std::string> at;
        std::vector<Channel> front, rear;
        bool take, meter;
    };
    const std::vector<Channel> left = {Channel::left}, right = {Channel::right};
    const Row rows[] = {
        {"front", {}, {}, true, true},    {"rear", left, {}, false, false}, {std::nullopt, {}, right, false, false},
        {std::nullopt, left, right, true, false}, {std::nullopt, left, {}, false, false}, {std::nullopt, left, left, false, false},
        {std::nullopt, right, {Channel::sub}, false, false},
    };
    for (const Row& row : rows) {
        Output out;
        AmplifierData rear = out.amplifier();
        rear.name = "rear";
        rear.channels = row.rear;
        out.amplifier().channels = row.front;
        out.job.job.amplifiers.push_back(rear);
        out.take.conditions.at_amplifier = row.at;
        out.add(20.0, 0.1);
        out.meter(20.0, Sine{50, 0});
        out.job.job.observations[0].conditions.at_amplifier = row.at;
        bool take = false, meter = false;
        for (const OutputReading& one : out.readings()) (one.take ? take : meter) = true;
        CAPTURE(row.at.value_or("-"), row.front.size(), row.rear.size());
        CHECK(take == row.take);
        CHECK(meter == row.meter);
        out.job.job.amplifiers.pop_back();   // alone it is its own, unless it names another
        CHECK(out.readings().size() == (row.at == "rear" ? 0 : 2));
    }
}

TEST_CASE("takes at the output that can't be read, or told apart, are warned about", "[amplifier]") {
    Bench bench;
    stepped_source::Source source;
    source.rate = 8000;
    source.stops = {stepped_source::Stop{-12, 1.5}};
    const auto add = [&](const std::string& file, Point point) -> Take& {
        Take take;
        take.file = file;
        take.channels = {Channel::left, Channel::right};
        take.conditions.point = point;
        take.tone = PlayedTone{Sine{source.tone_hz, 0}, ToneVia::stick};
        bench.job.job.takes.push_back(take);
        return bench.job.job.takes.back();
    };
    add("out.wav", Point::amp_output);
    add("missing.wav", Point::amp_output);
    add("in.wav", Point::amp_input);
    add("silent.wav", Point::amp_output).tone.reset();
    const auto read = [&](std::vector<Warning>& warnings) {
        return read_output_takes(bench.job, [&](const Take& take) -> std::unique_ptr<BlockReader> {
            if (take.file != "out.wav") throw Error(ErrorKind::file_unreadable, take.file + ": no such file");
            return std::make_unique<MemoryReader>(stepped_source::render(source), source.rate);
        }, warnings);
    };
    std::vector<Warning> warnings;
    const auto outputs = read(warnings);
    const auto told = [&](const std::string& code) {
        std::vector<Warning> out;
        for (const Warning& one : warnings)
            if (one.code == code) out.push_back(one);
        return out;
    };
    REQUIRE(outputs.size() == 2);
    CHECK(outputs[1].curve.channel == Channel::right);
    CHECK(outputs[0].take->file == "out.wav");
    REQUIRE(told("take_unreadable").size() == 1);
    CHECK(told("take_unreadable")[0].take == "missing.wav");
    CHECK(told("take_unreadable")[0].text == "missing.wav: no such file");
    CHECK(told("amplifier_unknown").empty());
    bench.job.job.amplifiers.push_back(bench.amplifier());
    bench.job.job.amplifiers.back().name = "rear";
    warnings.clear();
    read(warnings);
    REQUIRE(told("amplifier_unknown").size() == 1);
    CHECK(told("amplifier_unknown")[0].take == "out.wav");
    bench.job.job.amplifiers.clear();
    warnings.clear();
    read(warnings);
    CHECK(told("amplifier_unknown").empty());
}

TEST_CASE("a meter's reading above the ceiling, or beyond what the amplifier can give, tells no gain", "[amplifier]") {
    Output out;
    out.meter(15.0, Sine{100, 0}, 24.0);
    out.setting.volume = 23;
    OutputReading one = out.readings().back();
    CHECK(one.verdict == "unknown");
    CHECK_FALSE(one.turn_db);
    CHECK(holds(one.text, "volume 24 is above the ceiling, where the source itself clips, so this tells no gain. Read it at volume 23 or lower"));
    out.meter(15.0, Sine{100, 0}, 23.0);
    CHECK(out.readings().back().verdict == "turn_up");
    out.meter(1500.0, Sine{100, 0}, 23.0);
    one = out.readings().back();
    CHECK(one.verdict == "unknown");
    CHECK(holds(one.text, "far more than the 20.0 V that it is rated for. Look at the meter's unit"));
}
