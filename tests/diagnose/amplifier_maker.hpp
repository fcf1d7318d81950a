#pragma once
#include <deque>
#include <map>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

#include "../../src/diagnose/gain/amplifier_parts.hpp"
#include "diagnose/stepped_job.hpp"
#include "hushtrace/signal/error.hpp"

/// An amplifier's case set by hand, without sound but for its noise.
namespace amplifier_maker {

using namespace hushtrace;

/// Volts rms of a level in dBFS where sample value 1.0 is 8 V.
inline double volts_of(double dbfs) { return 8 / std::sqrt(2.0) * std::pow(10.0, dbfs / 20); }

/// One amplifier, 100 W into 4 ohm, its dial from 0.2 to 6 V; a source that was stepped on left, in 2 dB from volume 20 to 23, where
/// it is clean for the last time at 2 V.
struct Bench {
    OpenedJob job;
    GainRequest request;
    std::deque<Take> stepped;
    std::deque<GainCurve> curves;
    AmplifierSetting setting;
    std::map<std::string, Block> sound;
    std::size_t loudest = 0;   ///< of the curves

    static constexpr double top_v = 2.0;

    Bench() {
        AmplifierData amplifier;
        amplifier.name = "front";
        amplifier.power_w = 100;
        amplifier.load_ohm = 4;
        amplifier.sensitivity_v = {0.2, 6.0};
        job.job.amplifiers = {amplifier};
        job.job.interface.volts_full_scale = {8.0, 8.0};
        add_curve("steps.wav", Channel::left, {{20, -6}, {21, -4}, {22, -2}, {23, 0}});
        setting.volume = 23.0;
    }
    /// Levels in decibels against 2 V.
    GainCurve& add_curve(const std::string& file, Channel channel, const std::vector<std::pair<double, double>>& volumes_and_levels) {
        Take& take = stepped.emplace_back();
        take.file = file;
        take.channels = {channel};
        GainCurve& one = curves.emplace_back();
        one.take = &take;
        one.curve.take = file;
        one.curve.channel = channel;
        one.curve.tone_hz = 1000;
        for (const auto& [volume, db] : volumes_and_levels) {
            VolumeStep& step = one.curve.steps.emplace_back();
            step.number = one.curve.steps.size();
            step.volume = volume;
            step.level_v = top_v * std::pow(10.0, db / 20);
            step.level_dbfs = 20 * std::log10(*step.level_v / volts_of(0));
            step.level_sd_db = 0.02;
            step.level_v_sd = 0.01 * *step.level_v;
            step.thd_percent = 0.1;
        }
        one.clean_step = one.curve.steps.size() - 1;
        return one;
    }
    AmplifierData& amplifier() { return job.job.amplifiers.front(); }
    /// Fed by all curves, at the setting's volume.
    AmplifierCase made() {
        AmplifierCase the{.job = job, .amplifier = job.job.amplifiers.front(), .request = request, .feeding = {}, .feed = std::nullopt};
        for (const GainCurve& one : curves) the.feeding.push_back(&one);
        the.loudest = the.feeding[loudest];
        the.feed = level_at(*the.loudest, setting.volume);
        the.tone_dbfs = the.loudest->tone_level_dbfs;
        the.highest_tone_dbfs = the.tone_dbfs;
        return the;
    }
    /// Target, converter, gain and dial, as the gain analysis takes them in turn.
    const AmplifierSetting& set() {
        const std::optional<double> volume = setting.volume;
        setting = {};
        setting.volume = volume;
        AmplifierCase the = made();
        set_target(the, setting);
        pass_converter(the, setting);
        if (the.feed) {
            set_gain(the, setting);
            place_on_dial(the, setting);
        }
        return setting;
    }
    bool noted(const std::string& words) const { return stepped_job::says(setting.notes, words); }

    /// A noise take of one second: a sine at 1 kHz of so many dBV, which is power within 20 Hz to 20 kHz as any.
    Take& add_noise(const std::string& file, double dbv, double volume, Channel channel = Channel::left) {
        Block block(1, 8000);
        const double peak = std::pow(10.0, dbv / 20) * std::sqrt(2.0) / 8;
        for (std::size_t n = 0; n < block.frames(); ++n) block.channel(0)[n] = peak * std::sin(std::numbers::pi * static_cast<double>(n) / 4);
        sound[file] = block;
        Take take;
        take.file = file;
        take.channels = {channel};
        take.conditions.volume = volume;
        job.job.takes.push_back(take);
        return job.job.takes.back();
    }
    OpenTake open() const {
        return [this](const Take& take) {
            if (!sound.contains(take.file)) throw Error(ErrorKind::file_unreadable, take.file + ": no such file");
            return std::make_unique<MemoryReader>(sound.at(take.file), 8000.0);
        };
    }
};

}  // namespace amplifier_maker
