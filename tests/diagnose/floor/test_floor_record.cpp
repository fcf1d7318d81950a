#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/floor/floor_record_parts.hpp"
#include "diagnose/floor_job.hpp"
#include "hushtrace/vehicle/hearing.hpp"

using namespace hushtrace;
using namespace floor_job;
using Catch::Matchers::Contains;

TEST_CASE("the ratios are the decibels between ceiling, watt and floor", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off);
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {reading_of("takes/off.flac", {tone(50, -110), tone(1000, -112)})};
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
    noise.floor = {reading_of("takes/off.flac")};
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
    for (const Take& take : opened.job.takes) noise.floor.push_back(reading_of(take.file));
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
        noise.floor = {reading_of("takes/idle.flac", {tone(1000, line_dbv, true)})};
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
    noise.floor = {reading_of("takes/off.flac")};
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
    noise.floor = {reading_of("takes/off.flac")};
    CHECK_THAT(said("hiss_below_full_power_db"), Contains("gain isn't known"));
    CHECK_THAT(said("at_ear_running_db_spl"), Contains("no take with the engine running"));
    noise.floor[0].third_octaves.clear();
    CHECK_THAT(said("line_below_full_power_db"), Contains("digital silence"));
    noise.floor = {reading_of("takes/off.flac")};
    noise.floor[0].unweighted.dbv.reset();
    CHECK_THAT(said("line_below_full_power_db"), Contains("not calibrated"));
    opened.job.amplifiers.clear();
    CHECK_THAT(said("line_below_full_power_db"), Contains("describes no amplifier"));
}

TEST_CASE("a subwoofer isn't charged with lines that it doesn't play", "[floor_record]") {
    OpenedJob opened = job_of();
    opened.job.speakers[0].kind = SpeakerKind::subwoofer;
    add_take(opened, "takes/idle.flac", Engine::idle);
    const GainAnalysis gain = gain_of(opened);
    NoiseAnalysis noise;
    noise.floor = {reading_of("takes/idle.flac", {tone(1242, -60, true), tone(50, -95)})};
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
    noise.floor = {reading_of("takes/off.flac")};
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

namespace {

/// The left channel of the job's first take against the curves.
ChannelFloor against(const OpenedJob& opened, const GainAnalysis* gain, const NoiseAnalysis& noise = {},
                     FloorReading floor = reading_of("takes/off.flac")) {
    ChannelFloor out;
    out.channel = floor.channel;
    out.floor = std::move(floor);
    hold_to_ceiling({opened.job, noise, gain, opened.job.takes[0], 0}, out);
    return out;
}
bool says(const ChannelFloor& channel, const char* words) {
    for (const std::string& one : channel.notes)
        if (one.find(words) != std::string::npos) return true;
    return false;
}

}  // namespace

TEST_CASE("of a channel's curves the one nearest to 1 kHz stands for its ceiling, where it was played at the same place", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off);
    GainAnalysis gain = gain_of(opened);
    gain.curves.resize(5, gain.curves[0]);
    for (std::size_t i = 0; i < 5; ++i) gain.curves[i].tone_hz = std::array{100.0, 2100.0, 500.0, 2000.0, 1000.0}[i];
    gain.curves[4].channel = Channel::right;
    const auto chosen_hz = [&] {
        const ChannelFloor left = against(opened, &gain);
        return left.ceiling ? left.ceiling->tone_hz : 0.0;
    };
    CHECK(chosen_hz() == 500);  // an octave below as well as above: the first
    CHECK(against(opened, &gain).ceiling->tone_dbfs == 0);
    gain.curves[2].take = "takes/lost.flac";
    CHECK(chosen_hz() == 2000);
    gain.curves[2].tone_hz = 0.2;  // taken for 1 Hz
    gain.curves[2].take = gain.curves[0].take;
    CHECK(chosen_hz() == 2000);
    const auto played_at = [&](Point point, bool converter) {
        opened.job.takes[1].conditions.point = point;
        opened.job.amplifiers[0].converter.reset();
        if (converter) opened.job.amplifiers[0].converter = ConverterData{};
        return chosen_hz() > 0;
    };
    CHECK(played_at(Point::amp_input, true));
    CHECK(played_at(Point::source_output, false));
    CHECK_FALSE(played_at(Point::source_output, true));
    CHECK_FALSE(played_at(Point::amp_output, false));
    CHECK(played_at(Point::amp_input, false));
    auto &here = opened.job.takes[0].conditions.at_amplifier, &there = opened.job.takes[1].conditions.at_amplifier;
    here = "front";
    CHECK(chosen_hz() > 0);
    there = "front";
    CHECK(chosen_hz() > 0);
    there = "rear";
    CHECK(chosen_hz() == 0);
    here.reset();
    CHECK(chosen_hz() > 0);
    gain.ceiling.reset();
    gain.ceiling_reason = "too_noisy";
    CHECK(chosen_hz() == 0);
    CHECK_FALSE(against(opened, nullptr).ceiling);
}

TEST_CASE("the step at the job's volume stands for the ceiling, else the curve's own, else the loudest clean one", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off).conditions.volume.reset();
    GainAnalysis gain = gain_of(opened);
    std::vector<VolumeStep>& steps = gain.curves[0].steps;
    steps[1].level_sd_db = 0.02;
    FloorCeiling ceiling = *against(opened, &gain).ceiling;
    CHECK(ceiling.take == "takes/steps.flac");
    CHECK(ceiling.volume == 34.0);
    CHECK(ceiling.level_v == 2.0);
    CHECK(ceiling.level_dbfs == steps[1].level_dbfs);
    CHECK(ceiling.level_sd_db == 0.02);
    CHECK_FALSE(ceiling.never_clips);
    CHECK(against(opened, &gain).notes.empty());
    const auto volume = [&] {
        const ChannelFloor left = against(opened, &gain);
        return left.ceiling ? left.ceiling->volume.value_or(-1) : 0.0;
    };
    gain.ceiling->volume = 30;
    CHECK(volume() == 30);
    steps[0].input_overload = true;
    CHECK(volume() == 34);
    gain.ceiling->volume.reset();
    gain.curves[0].ceiling->step = 3;
    CHECK(volume() == 36);
    for (VolumeStep& step : steps) step.volume.reset();
    CHECK(against(opened, &gain).ceiling->level_v == 2.4);
    for (std::size_t i = 0; i < 3; ++i) steps[i].volume = std::array{30.0, 34.0, 36.0}[i];
    gain.curves[0].ceiling.reset();
    CHECK(volume() == 0);
    gain.curves[0].ceiling_reason = "never_clips";
    CHECK(volume() == 36);
    CHECK_FALSE(against(opened, &gain).ceiling->never_clips);  // it ends with the job's
    gain.limit_thd_percent = 0.5;
    steps[2].thd_percent = 0.51;
    CHECK(volume() == 34);
    steps[2].thd_percent = 0.5;
    CHECK(volume() == 36);
    steps[2].input_overload = true;
    CHECK(volume() == 34);
    gain.ceiling.reset();
    gain.ceiling_reason = "never_clips";
    CHECK(against(opened, &gain).ceiling->never_clips);
    CHECK(says(against(opened, &gain), "the source never clipped"));
    opened.job.takes[1].tone = PlayedTone{Sine{1000, -6}, std::nullopt};
    CHECK(against(opened, &gain).ceiling->tone_dbfs == -6);
    CHECK(says(against(opened, &gain), "held against a tone of -6 dBFS"));
    for (const auto& [level_dbfs, said] : {std::pair{-0.04, false}, {-0.06, true}, {0.06, true}}) {
        opened.job.takes[1].tone = PlayedTone{Sine{1000, level_dbfs}, std::nullopt};
        CHECK(says(against(opened, &gain), "held against a tone of") == said);
    }
    opened.job.takes[1].tone.reset();
    CHECK(against(opened, &gain).ceiling->tone_dbfs == 0);
    opened.job.takes[1].tone = PlayedTone{Sine{1000, -6}, std::nullopt};
    opened.job.takes[0].conditions.volume = 34;
    CHECK(against(opened, &gain).notes.size() == 2);
    opened.job.takes[0].conditions.volume = 33;
    CHECK(says(against(opened, &gain), "taken at volume 33, the ceiling lies at 34: what goes with the volume is louder there"));
    opened.job.takes[0].conditions.volume = 35;
    CHECK(says(against(opened, &gain), "quieter there"));
}

TEST_CASE("floor and ceiling are held against each other where their inputs are calibrated alike", "[floor_record]") {
    OpenedJob opened = job_of();
    add_take(opened, "takes/off.flac", Engine::off);
    const GainAnalysis gain = gain_of(opened);
    // the ceiling was read at the other input: both scales are in the ratio
    opened.job.interface.volts_full_scale_sd_db = {kScaleSd_db, 0.3};
    opened.job.takes[1].channels = {Channel::right, Channel::left};
    ChannelFloor left = against(opened, &gain);
    CHECK(left.signal_to_noise_db->db.value == Approx(95 + 20 * std::log10(2.0)).margin(1e-6));
    CHECK(left.signal_to_noise_db->db.sd == Approx(std::sqrt(0.05 * 0.05 + 0.01 * 0.01 + kScaleSd_db * kScaleSd_db + 0.09)).margin(1e-6));
    opened.job.interface.volts_full_scale_sd_db = {kScaleSd_db, std::nullopt};
    CHECK(against(opened, &gain).signal_to_noise_db->db.sd == Approx(std::sqrt(0.05 * 0.05 + 0.01 * 0.01 + kScaleSd_db * kScaleSd_db)).margin(1e-6));
    opened.job.takes[1].channels = {Channel::left};
    CHECK(against(opened, &gain).signal_to_noise_db->db.sd == Approx(std::hypot(0.05, 0.01)).margin(1e-6));
    opened.job.interface.volts_full_scale_sd_db = {};  // nobody said: what is told is the reading's
    CHECK(against(opened, &gain).signal_to_noise_db->db.sd == Approx(std::hypot(std::hypot(0.05, kScaleSd_db), 0.01)).margin(1e-6));
    // volts against none
    opened.job.interface.volts_full_scale = {};
    left = against(opened, &gain);
    CHECK(left.ceiling);
    CHECK_FALSE(left.signal_to_noise_db);
    CHECK(says(left, "inputs that aren't calibrated alike"));
    // dBFS against dBFS: at one input alone
    FloorReading floor = reading_of("takes/off.flac");
    floor.unweighted.dbv.reset();
    CHECK(against(opened, &gain, {}, floor).signal_to_noise_db);
    opened.job.takes[1].channels = {Channel::right, Channel::left};
    CHECK_FALSE(against(opened, &gain, {}, floor).signal_to_noise_db);
    floor.third_octaves.clear();
    left = against(opened, &gain, {}, floor);
    CHECK_FALSE(left.ceiling);
    CHECK(says(left, "digital silence"));
    CHECK(left.notes.size() == 1);
}
