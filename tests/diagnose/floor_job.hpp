#pragma once
#include <cmath>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/signal/decibel.hpp"

/// Jobs and readings that never were sound, for the tests of the noise-floor record.
namespace floor_job {

using namespace hushtrace;

inline constexpr double kVolts = 7.0, kScaleSd_db = 0.12;

/// A calibrated job with one amplifier of 100 W into 4 ohm and a speaker of 90 dB at 1 m.
inline OpenedJob job_of() {
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

inline Take& add_take(OpenedJob& opened, const std::string& file, Engine engine, std::vector<Channel> channels = {Channel::left}) {
    Take take;
    take.file = file;
    take.channels = std::move(channels);
    take.conditions.engine = engine;
    take.conditions.volume = 20;
    opened.job.takes.push_back(take);
    return opened.job.takes.back();
}

inline Reading dbv(double level, double sd_db = 0.05, LimitedBy limit = LimitedBy::nothing) {
    return {level, std::hypot(sd_db, kScaleSd_db), limit};
}
inline FloorFigure figure(double level_dbv, LimitedBy limit = LimitedBy::nothing) {
    return {Reading{level_dbv - decibels_from_amplitude(kVolts / std::sqrt(2.0)), 0.05, limit}, dbv(level_dbv, 0.05, limit), false};
}
inline FloorTone tone(double frequency_hz, double level_dbv, bool wanders = false) {
    return {frequency_hz, Reading{level_dbv - decibels_from_amplitude(kVolts / std::sqrt(2.0)), 0.05, {}}, dbv(level_dbv), wanders, 0};
}

/// Unweighted -95 dBV, A-weighted -100, without lines -104.
inline FloorReading reading_of(const std::string& take, std::vector<FloorTone> tones = {}, Channel channel = Channel::left) {
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
inline GainAnalysis gain_of(OpenedJob& opened) {
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

inline const FloorVerdict* verdict(const FloorRecord& record, const std::string& what) {
    for (const FloorVerdict& one : record.acceptance)
        if (one.what == what) return &one;
    return nullptr;
}
inline bool lacks(const FloorRecord& record, const std::string& what) {
    for (const FloorGap& one : record.gaps)
        if (one.what == what) return true;
    return false;
}

inline FloorRatio ratio(double db, double sd_db = 1.0, bool bound = false, LimitedBy limit = LimitedBy::nothing) {
    return {{db, sd_db, limit}, bound};
}

/// One amplifier whose full power takes 1 V, so that a level in dBV is one against full power; all that can be told of it is.
inline FloorRecord record_of(Engine engine = Engine::off) {
    FloorRecord out;
    ConditionFloor& condition = out.conditions.emplace_back();
    condition.name = "as named";
    condition.take = "takes/one.flac";
    condition.engine = engine;
    condition.volume = 20;
    ChannelFloor& channel = condition.channels.emplace_back();
    channel.channel = Channel::rear_left;
    channel.floor.unweighted.dbv = Reading{-95, 0, {}};
    channel.floor.broadband_a_weighted.dbv = Reading{-104, 0, {}};
    channel.floor.third_octaves.resize(1);
    channel.floor.bands_interface = InterfaceKnown::by_band;
    channel.signal_to_noise_db = ratio(95);
    FloorLine line;
    line.frequency_hz = 312.34;
    line.name = "fan";
    channel.lines.push_back(line);
    AmplifierFloor& amplifier = channel.amplifiers.emplace_back();
    amplifier.amplifier = "front";
    amplifier.gain_from = "found";
    amplifier.gain_db = Reading{20, 0, {}};
    amplifier.full_power_v = 1.0;
    amplifier.line_re_full_power_db = ratio(-100);
    amplifier.loudest_line = amplifier.line_at_ear = 0;
    amplifier.hiss_re_full_power_db = ratio(-104);
    amplifier.hiss_at_ear_db_spl = ratio(-4);
    amplifier.line_at_ear_db_spl = ratio(0);
    amplifier.line_over_threshold_db = 3.0;
    return out;
}
inline ChannelFloor& channel_of(FloorRecord& record) {
    return record.conditions[0].channels[0];
}
inline AmplifierFloor& amplifier_of(FloorRecord& record) {
    return channel_of(record).amplifiers[0];
}

}  // namespace floor_job
