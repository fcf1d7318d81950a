#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/hearing.hpp"

using namespace hushtrace;
using Catch::Matchers::Contains;

namespace {

constexpr double kVolts = 7.0, kScaleSd_db = 0.12;

/// A calibrated job with one amplifier of 100 W into 4 ohm and a speaker of 90 dB at 1 m.
OpenedJob job_of() {
    OpenedJob opened;
    opened.folder = "/jobs/van";
    opened.job.interface.volts_full_scale = {kVolts, kVolts};
    opened.job.interface.volts_full_scale_sd_db = {kScaleSd_db, kScaleSd_db};
    AmplifierData amplifier;
    amplifier.name = "front";
    amplifier.power_w = 100;
    amplifier.load_ohm = 4;
    opened.job.amplifiers.push_back(amplifier);
    SpeakerData speaker;
    speaker.amplifier = "front";
    speaker.sensitivity_db_2v83_1m = 90;
    opened.job.speakers.push_back(speaker);
    return opened;
}

Take& add_take(OpenedJob& opened, const std::string& file, Engine engine, std::vector<Channel> channels = {Channel::left}) {
    Take take;
    take.file = file;
    take.channels = std::move(channels);
    take.conditions.engine = engine;
    take.conditions.volume = 20;
    opened.job.takes.push_back(take);
    return opened.job.takes.back();
}

Reading dbv(double level, double sd_db = 0.05, LimitedBy limit = LimitedBy::nothing) { return {level, std::hypot(sd_db, kScaleSd_db), limit}; }
FloorFigure figure(double level_dbv, LimitedBy limit = LimitedBy::nothing) {
    return {Reading{level_dbv - decibels_from_amplitude(kVolts / std::sqrt(2.0)), 0.05, limit}, dbv(level_dbv, 0.05, limit), false};
}
FloorTone tone(double frequency_hz, double level_dbv, bool wanders = false) {
    return {frequency_hz, Reading{level_dbv - decibels_from_amplitude(kVolts / std::sqrt(2.0)), 0.05, {}}, dbv(level_dbv), wanders, 0};
}

/// Unweighted -95 dBV, A-weighted -100, without lines -104.
FloorReading floor_of(const std::string& take, std::vector<FloorTone> tones = {}, Channel channel = Channel::left) {
    FloorReading out;
    out.take = take;
    out.channel = channel;
    out.unweighted = figure(-95);
    out.a_weighted = figure(-100);
    out.broadband_a_weighted = figure(-104);
    out.tones = std::move(tones);
    out.third_octaves.resize(31);
    return out;
}

/// A full-scale tone of 1 kHz: 2 V at volume 34, the ceiling; the gain that takes 2 V to 20 V.
GainAnalysis gain_of(OpenedJob& opened) {
    Take& take = add_take(opened, "takes/steps.flac", Engine::off);
    take.tone = PlayedTone{Sine{1000, 0}, std::nullopt};
    take.volume_steps = {30, 34, 36};
    GainAnalysis gain;
    StepCurve curve;
    curve.take = take.file;
    curve.tone_hz = 1000;
    for (const auto& [volume, volts] : {std::pair{30.0, 1.0}, {34.0, 2.0}, {36.0, 2.4}}) {
        VolumeStep step;
        step.number = curve.steps.size() + 1;
        step.volume = volume;
        step.level_v = volts;
        step.level_v_sd = volts * 0.014;
        step.level_dbfs = decibels_from_amplitude(volts / (kVolts / std::sqrt(2.0)));
        step.level_sd_db = 0.01;
        curve.steps.push_back(step);
    }
    Ceiling ceiling;
    ceiling.volume = 34;
    ceiling.step = 2;
    ceiling.level_v = 2.0;
    ceiling.take = take.file;
    curve.ceiling = ceiling;
    gain.ceiling = ceiling;
    gain.curves.push_back(curve);
    AmplifierSetting setting;
    setting.name = "front";
    setting.channels = {Channel::left};
    setting.rated_output_v = setting.target_output_v = 20.0;
    setting.input_v_at_ceiling = setting.sensitivity_v = 2.0;
    setting.gain_db = 20.0;
    setting.gain_sd_db = 0.12;
    setting.tone_dbfs = 0.0;
    setting.volume = 34;
    gain.amplifiers.push_back(setting);
    return gain;
}

const FloorVerdict* verdict(const FloorRecord& record, const std::string& what) {
    for (const FloorVerdict& one : record.acceptance)
        if (one.what == what) return &one;
    return nullptr;
}
bool lacks(const FloorRecord& record, const std::string& what) {
    for (const FloorGap& one : record.gaps)
        if (one.what == what) return true;
    return false;
}

}  // namespace

TEST_CASE("the ratios are the decibels between ceiling, watt and floor", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off);
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {floor_of("takes/off.flac", {tone(50, -110), tone(1000, -112)})};
    const FloorRecord record = floor_record(opened, noise, &gain);
    REQUIRE(record.conditions.size() == 1);
    const ChannelFloor& left = record.conditions[0].channels.at(0);
    // 2 V is +6.02 dBV
    CHECK(left.signal_to_noise_db->db.value == Approx(101.02).margin(0.005));
    CHECK(left.signal_to_noise_a_db->db.value == Approx(106.02).margin(0.005));
    CHECK(left.dynamic_range_a_db->db.value == Approx(110.02).margin(0.005));
    CHECK(left.lines.at(0).below_ceiling_db->db.value == Approx(116.02).margin(0.005));
    // the scale's own uncertainty is in both and goes out
    CHECK(left.signal_to_noise_a_db->db.sd == Approx(std::hypot(0.05, 0.01)).margin(1e-6));
    CHECK(left.floor.a_weighted.dbv->sd == Approx(std::hypot(0.05, kScaleSd_db)).margin(1e-6));
    const AmplifierFloor& front = left.amplifiers.at(0);
    CHECK(front.gain_from == "required");
    // 1 W into 4 ohm is 2 V, behind 20 dB of gain 0.2 V at the input: -13.98 dBV
    CHECK(*front.one_watt_v == Approx(0.2).epsilon(1e-9));
    CHECK(front.signal_to_noise_1w_a_db->db.value == Approx(86.02).margin(0.005));
    CHECK(front.signal_to_noise_1w_a_db->db.sd == Approx(std::hypot(0.05, 0.01)).margin(1e-6));
    CHECK(*front.full_power_v == Approx(2.0).epsilon(1e-9));
    CHECK(front.hiss_re_full_power_db->db.value == Approx(-110.02).margin(0.005));
    CHECK(front.line_re_full_power_db->db.value == Approx(-116.02).margin(0.005));
    // -112 dBV at the input, 20 dB of gain, 90 dB SPL from 2.83 V: -11.04 dB SPL, and 2.4 dB of threshold at 1 kHz
    CHECK(front.line_at_ear == 1U);
    CHECK(front.line_at_ear_db_spl->db.value == Approx(90 - 112 + 20 - 9.036).margin(0.01));
    CHECK(*front.line_over_threshold_db == Approx(front.line_at_ear_db_spl->db.value - hearing_threshold_db_spl(1000)).margin(1e-9));
    CHECK(verdict(record, "at_ear_off_db_spl")->verdict == "pass");
    CHECK_THAT(verdict(record, "at_ear_off_db_spl")->found_text, Contains("no line reaches the threshold of hearing"));
    CHECK_THAT(left.notes.at(0), Contains("the floor was taken at volume 20, the ceiling lies at 34"));
}

TEST_CASE("a gain that was read at the output counts before the one it should have", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off);
    GainAnalysis gain = gain_of(opened);
    OutputReading read;
    read.gain_now_db = 26.0;
    read.gain_sd_db = 0.2;
    read.measured_sd_db = 0.15;
    gain.amplifiers[0].output_readings.push_back(read);
    NoiseAnalysis noise;
    noise.floor = {floor_of("takes/off.flac")};
    const FloorRecord record = floor_record(opened, noise, &gain);
    const AmplifierFloor& front = record.conditions.at(0).channels.at(0).amplifiers.at(0);
    CHECK(front.gain_from == "found");
    CHECK(front.signal_to_noise_1w_a_db->db.value == Approx(80.02).margin(0.005));
    CHECK(front.signal_to_noise_1w_a_db->db.sd == Approx(std::sqrt(0.05 * 0.05 + 0.15 * 0.15 + 0.01 * 0.01)).margin(1e-6));
    CHECK_FALSE(lacks(record, "gain"));
}

TEST_CASE("of several takes of one condition the latest state counts, then the cleaner set-up, then the last", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off);
    add_take(opened, "takes/off-2.flac", Engine::off).after_change = "ground remade";
    add_take(opened, "takes/off-3.flac", Engine::off).after_change = "ground remade";
    Take& charger = add_take(opened, "takes/off-4.flac", Engine::off);
    charger.after_change = "ground remade";
    charger.conditions.attached = {{"charger", PoweredFrom::vehicle}};
    add_take(opened, "takes/off-5.flac", Engine::off);  // before the change, brought in late
    add_take(opened, "takes/lights.flac", Engine::off).conditions.loads = {"headlights"};
    add_take(opened, "takes/isolator.flac", Engine::off).conditions.hookup = {Hookup::isolator};
    add_take(opened, "takes/muted.flac", Engine::off).conditions.source = SourceState::muted;
    NoiseAnalysis noise;
    for (const Take& take : opened.job.takes) noise.floor.push_back(floor_of(take.file));
    const FloorRecord record = floor_record(opened, noise, nullptr);
    REQUIRE(record.conditions.size() == 2);
    CHECK(record.conditions[0].name == "engine off");
    CHECK(record.conditions[0].take == "takes/off-3.flac");
    CHECK(record.conditions[0].other_takes.size() == 4);
    CHECK(record.conditions[0].after_change == "ground remade");
    CHECK(record.conditions[1].name == "engine off, headlights");
    // and what is missing is said with the command that brings it
    for (const char* what : {"condition_idle", "condition_raised", "condition_loads", "own_noise", "ceiling"}) CHECK(lacks(record, what));
    CHECK_FALSE(lacks(record, "condition_off"));
    CHECK_FALSE(lacks(record, "calibration"));
    CHECK_THAT(record.gaps[0].command, Contains("hushtrace capture --job /jobs/van") && Contains("--engine idle") && Contains("--volume 20"));
}

TEST_CASE("proposals pass, ask the ear or fail, and only what is written fails the job", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/idle.flac", Engine::idle);
    const GainAnalysis gain = gain_of(opened);
    const auto judged = [&](double line_dbv) {
        NoiseAnalysis noise;
        noise.floor = {floor_of("takes/idle.flac", {tone(1000, line_dbv, true)})};
        return floor_record(opened, noise, &gain);
    };
    // full power is 2 V, +6.02 dBV: the proposal's -90 dB lies at -83.98 dBV, its -75 dB at -68.98
    for (const auto& [line_dbv, wanted] : {std::pair{-84.5, "pass"}, {-83.98, "undecided"}, {-83.5, "judge"}, {-69.5, "judge"},
                                             {-68.98, "undecided"}, {-68.5, "fail"}}) {
        const FloorRecord record = judged(line_dbv);
        INFO(line_dbv);
        CHECK(verdict(record, "line_below_full_power_db")->verdict == wanted);
        CHECK_FALSE(verdict(record, "line_below_full_power_db")->written);
        CHECK_FALSE(fails_limit(record));
    }
    opened.job.limits.line_below_full_power_db = -90;
    CHECK(verdict(judged(-84.5), "line_below_full_power_db")->verdict == "pass");
    CHECK(verdict(judged(-83.5), "line_below_full_power_db")->verdict == "fail");
    CHECK(fails_limit(judged(-83.5)));
    CHECK_FALSE(fails_limit(judged(-83.98)));
    // at the ear: 20 dB of gain and 80.96 dB SPL from a volt; 4 dB of doubt in the speaker
    opened.job.limits.at_ear_running_db_spl = 25;
    CHECK(verdict(judged(-90), "at_ear_running_db_spl")->verdict == "pass");
    CHECK(verdict(judged(-76), "at_ear_running_db_spl")->verdict == "undecided");
    CHECK(verdict(judged(-60), "at_ear_running_db_spl")->verdict == "fail");
}

TEST_CASE("what the interface hides is a bound: at least so quiet, never a failure", "[floor_record]") {
    OpenedJob opened = job_of();
    opened.job.limits.hiss_below_full_power_db = -115;
    add_take(opened, "takes/off.flac", Engine::off);
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {floor_of("takes/off.flac")};
    noise.floor[0].broadband_a_weighted = figure(-104, LimitedBy::interface);
    noise.floor[0].a_weighted = figure(-100, LimitedBy::interface);
    FloorRecord record = floor_record(opened, noise, &gain);
    const ChannelFloor& left = record.conditions[0].channels[0];
    CHECK(left.signal_to_noise_a_db->bound);
    CHECK_FALSE(left.signal_to_noise_db->bound);
    CHECK(left.dynamic_range_a_db->db.limited_by == LimitedBy::interface);
    CHECK(verdict(record, "hiss_below_full_power_db")->verdict == "undecided");
    noise.floor[0].broadband_a_weighted = figure(-104);
    record = floor_record(opened, noise, &gain);
    CHECK(verdict(record, "hiss_below_full_power_db")->verdict == "fail");
}

TEST_CASE("a written limit has a verdict whatever is missing, and says what", "[floor_record]") {
    OpenedJob opened = job_of();
    opened.job.limits.line_below_full_power_db = -90;
    opened.job.limits.hiss_below_full_power_db = -85;
    opened.job.limits.at_ear_off_db_spl = 15;
    opened.job.limits.at_ear_running_db_spl = 25;
    NoiseAnalysis noise;
    const auto said = [&](const std::string& what) {
        const FloorRecord record = floor_record(opened, noise, nullptr);
        const FloorVerdict* one = verdict(record, what);
        REQUIRE(one);
        CHECK(one->verdict == "not_measured");
        CHECK(one->written);
        CHECK_FALSE(fails_limit(record));
        return one->found_text;
    };
    CHECK_THAT(said("line_below_full_power_db"), Contains("no floor was captured"));
    add_take(opened, "takes/off.flac", Engine::off);
    noise.floor = {floor_of("takes/off.flac")};
    CHECK_THAT(said("hiss_below_full_power_db"), Contains("gain isn't known"));
    CHECK_THAT(said("at_ear_running_db_spl"), Contains("no take with the engine running"));
    noise.floor[0].third_octaves.clear();
    CHECK_THAT(said("line_below_full_power_db"), Contains("digital silence"));
    noise.floor = {floor_of("takes/off.flac")};
    noise.floor[0].unweighted.dbv.reset();
    CHECK_THAT(said("line_below_full_power_db"), Contains("not calibrated"));
    opened.job.amplifiers.clear();
    CHECK_THAT(said("line_below_full_power_db"), Contains("describes no amplifier"));
}

TEST_CASE("lines bear the names of the sources that make them, and the set-up's own are told apart", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/idle.flac", Engine::idle);
    add_take(opened, "takes/shorted.flac", Engine::off).conditions.hookup = {Hookup::inputs_shorted};
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {floor_of("takes/idle.flac", {tone(1242, -70, true), tone(2480, -80, true), tone(150.02, -85), tone(8000, -74),
                                                tone(1266, -92, true), tone(3333, -90)}),
                   floor_of("takes/shorted.flac", {tone(8000, -74.5)})};
    NoiseSource whine, hum;
    whine.id = "alternator_whine-1";
    whine.kind = NoiseKind::alternator_whine;
    whine.frequency_hz = 1240;
    hum.id = "mains_hum-1";
    hum.kind = NoiseKind::mains_hum;
    hum.frequency_hz = 50;
    whine.takes = hum.takes = {"takes/idle.flac"};
    noise.noise_sources = {whine, hum};
    for (const auto& [id, hz, ratios] :
         {std::tuple{"alternator_whine-1", 1240.0, std::vector{1.0, 2.0}}, {"mains_hum-1", 50.0, std::vector{1.0, 3.0}}}) {
        SourceTrace trace;
        trace.source_id = id;
        trace.take = "takes/idle.flac";
        trace.track.time_s = {0, 1};
        trace.track.frequency_hz = {hz, hz};
        trace.ratios = ratios;
        noise.traces.push_back(trace);
    }
    const FloorRecord record = floor_record(opened, noise, &gain);
    const ChannelFloor& left = record.conditions.at(0).channels.at(0);
    REQUIRE(left.lines.size() == 6);
    CHECK(left.lines[0].name == "alternator whine");
    CHECK(left.lines[1].source_id == "alternator_whine-1");
    CHECK(left.lines[2].name == "mains hum, 3 times 50 Hz");
    CHECK(left.lines[3].name == "the measuring set-up's own");
    CHECK(left.lines[3].below_ceiling_db->bound);
    CHECK(left.lines[4].name == "beside the alternator whine");
    CHECK(left.lines[5].name == "not named");
    CHECK(left.lines[5].source_id.empty());
    // the set-up's own line is louder than all but two, and doesn't count
    CHECK(left.amplifiers.at(0).loudest_line == 0U);
    CHECK(record.interface.size() == 1);
}

TEST_CASE("what wasn't followed makes the hiss a bound", "[floor_record]") {
    OpenedJob opened = job_of();
    opened.job.limits.hiss_below_full_power_db = -115;
    add_take(opened, "takes/idle.flac", Engine::idle);
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {floor_of("takes/idle.flac")};
    noise.floor[0].broadband = figure(-100);
    NoiseSource hiss;
    hiss.kind = NoiseKind::hiss;
    LevelInTake level;
    level.take = "takes/idle.flac";
    for (const auto& [below_db, wanted] : {std::pair{5.0, "fail"}, {20.0, "undecided"}}) {
        level.level_dbfs = noise.floor[0].broadband.dbfs->value - below_db;
        hiss.levels = {level};
        noise.noise_sources = {hiss};
        const FloorRecord record = floor_record(opened, noise, &gain);
        CHECK(verdict(record, "hiss_below_full_power_db")->verdict == wanted);
        CHECK(record.conditions[0].channels[0].dynamic_range_a_db->bound == (below_db > 10));
        CHECK_FALSE(record.conditions[0].channels[0].signal_to_noise_a_db->bound);
    }
}

TEST_CASE("a subwoofer isn't charged with lines that it doesn't play", "[floor_record]") {
    OpenedJob opened = job_of();
    opened.job.speakers[0].kind = SpeakerKind::subwoofer;
    add_take(opened, "takes/idle.flac", Engine::idle);
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {floor_of("takes/idle.flac", {tone(1242, -60, true), tone(50, -95)})};
    const FloorRecord record = floor_record(opened, noise, &gain);
    CHECK(record.conditions[0].channels[0].amplifiers[0].loudest_line == 1U);
    CHECK(verdict(record, "line_below_full_power_db")->verdict == "pass");
}

TEST_CASE("a source that never clips, and one that isn't calibrated", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off);
    GainAnalysis gain = gain_of(opened);
    gain.ceiling.reset();
    gain.ceiling_reason = gain.curves[0].ceiling_reason = "never_clips";
    gain.curves[0].ceiling.reset();
    NoiseAnalysis noise;
    noise.floor = {floor_of("takes/off.flac")};
    ChannelFloor left = floor_record(opened, noise, &gain).conditions.at(0).channels.at(0);
    CHECK(left.ceiling->never_clips);
    CHECK(left.signal_to_noise_a_db->bound);
    CHECK(left.signal_to_noise_a_db->db.value == Approx(100 + 20 * std::log10(2.4)).margin(0.005));
    // dBFS against dBFS, a pad of 10 dB in the noise take added back
    opened.job.interface = {};
    opened.job.takes[0].attenuation_db = {10};
    gain = gain_of(opened);
    noise.floor[0].unweighted.dbv.reset();
    noise.floor[0].a_weighted = {Reading{-100, 0.05, {}}, std::nullopt, false};
    noise.floor[0].unweighted.dbfs = Reading{-95, 0.05, {}};
    noise.floor[0].broadband_a_weighted.dbv.reset();
    left = floor_record(opened, noise, &gain).conditions.at(0).channels.at(0);
    REQUIRE(left.signal_to_noise_a_db);
    CHECK(left.signal_to_noise_a_db->db.value == Approx(20 * std::log10(2.0 / (kVolts / std::sqrt(2.0))) + 100 - 10).margin(0.005));
    CHECK_FALSE(left.amplifiers.at(0).hiss_re_full_power_db);
}
