#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "../gain/amplifier_parts.hpp"
#include "../gain/at_ear.hpp"
#include "floor_record_parts.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/hearing.hpp"

namespace hushtrace {
namespace {

constexpr double kStatedSd_db = 3.0;      // of a gain that was set by the source's stated voltage: ours, no source
constexpr double kSameVolts = 0.001;      // relative: the same step, told twice

/// By its speakers where these say what they are, else by its name.
bool plays_bass_only(const Job& job, const AmplifierData& amplifier) {
    bool told = false, all_sub = true;
    for (const SpeakerData& speaker : job.speakers) {
        if (speaker.amplifier != amplifier.name || !speaker.kind) continue;
        told = true;
        all_sub = all_sub && *speaker.kind == SpeakerKind::subwoofer;
    }
    return told ? all_sub : named_sub(amplifier);
}

const AmplifierSetting* setting_of(const GainAnalysis* gain, const std::string& name) {
    if (gain)
        for (const AmplifierSetting& one : gain->amplifiers)
            if (one.name == name) return &one;
    return nullptr;
}

/// The channel whose level at the ceiling set the amplifier's gain: the scale of that one cancels.
std::optional<Channel> set_by(const GainAnalysis& gain, const AmplifierSetting& setting) {
    if (!setting.input_v_at_ceiling || !setting.tone_dbfs) return std::nullopt;
    for (const StepCurve& curve : gain.curves)
        for (const VolumeStep& step : curve.steps)
            if (step.level_v && step.volume == setting.volume &&
                std::abs(*step.level_v * amplitude_from_decibels(-*setting.tone_dbfs) / *setting.input_v_at_ceiling - 1.0) < kSameVolts)
                return curve.channel;
    return std::nullopt;
}

/// The amplifier's gain as it is best known, with the sd that a level of this channel has against full power.
struct KnownGain {
    std::string from = "unknown";
    double db = 0;
    double sd_db = 0;       ///< of the gain itself
    double held_sd_db = 0;  ///< of the gain and the scale together, seen from a level of this channel: what is beyond the level's own reading
};

std::optional<KnownGain> known_gain(const FloorCase& the, const AmplifierData& amplifier, const AmplifierSetting* setting,
                                    const ChannelFloor& channel) {
    const double scale = scale_sd_db(the);
    if (setting) {
        const double step_sd_db = channel.ceiling ? channel.ceiling->level_sd_db : 0.0;
        const OutputReading* found = nullptr;
        for (const OutputReading& one : setting->output_readings)
            if (one.gain_now_db && (!found || one.channel == channel.channel || found->channel != channel.channel)) found = &one;
        if (found) {
            const double sd = found->gain_sd_db.value_or(0.0);
            const bool same = set_by(*the.gain, *setting) == channel.channel || found->channel == channel.channel;
            return KnownGain{"found", *found->gain_now_db, sd,
                             same ? std::hypot(found->measured_sd_db.value_or(0.0), step_sd_db) : std::hypot(sd, scale)};
        }
        const auto& gain_db = setting->gain_reached_db ? setting->gain_reached_db : setting->gain_db;
        if (gain_db) {
            // the dial's end is the amplifier's own: no scale of ours is in it
            if (setting->gain_reached_db) return KnownGain{"dial_end", *gain_db, 0.0, scale};
            const double sd = setting->gain_sd_db.value_or(0.0);
            return KnownGain{"required", *gain_db, sd, set_by(*the.gain, *setting) == channel.channel ? step_sd_db : std::hypot(sd, scale)};
        }
    }
    const auto full_v = full_output_v(amplifier);
    if (!full_v || !the.job.source.preout_v || !(*the.job.source.preout_v > 0.0)) return std::nullopt;
    double input_v = *the.job.source.preout_v;
    if (const auto& ends = amplifier.sensitivity_v; ends && (*ends)[0] > 0.0 && (*ends)[1] > 0.0)
        input_v = std::clamp(input_v, std::min((*ends)[0], (*ends)[1]), std::max((*ends)[0], (*ends)[1]));
    return KnownGain{"stated", decibels_from_amplitude(*full_v / input_v), kStatedSd_db, std::hypot(kStatedSd_db, scale)};
}

FloorRatio ratio(double db, const HeldLevel& level, double more_sd_db) {
    return {{db, std::hypot(level.sd_db, more_sd_db), level.limited_by},
            level.limited_by == LimitedBy::interface || level.limited_by == LimitedBy::noise};
}

void hold_lines(const FloorCase& the, const AmplifierData& amplifier, const KnownGain& gain, const ChannelFloor& channel, AmplifierFloor& out) {
    double loudest_db = -std::numeric_limits<double>::infinity(), heard_db = loudest_db;
    for (std::size_t i = 0; i < channel.lines.size(); ++i) {
        const FloorLine& line = channel.lines[i];
        const auto level = held(the, line.dbfs, line.dbv);
        if (!level || !line.dbv || level->limited_by == LimitedBy::interface || (out.bass_only && line.frequency_hz > kBassTop_hz)) continue;
        if (out.full_power_v && level->db > loudest_db) {
            loudest_db = level->db;
            out.loudest_line = i;
            out.line_re_full_power_db = ratio(level->db - decibels_from_amplitude(*out.full_power_v), *level, gain.held_sd_db);
        }
        const auto spl = at_ear_db_spl(the.job, amplifier, level->db + gain.db);
        if (!spl) continue;
        const double over_db = *spl - hearing_threshold_db_spl(line.frequency_hz);
        if (over_db <= heard_db) continue;
        heard_db = over_db;
        out.line_at_ear = i;
        out.line_over_threshold_db = over_db;
        out.line_at_ear_db_spl = ratio(*spl, *level, std::hypot(gain.held_sd_db, kSpeakerSd_db));
    }
}

const char* gain_words(const std::string& from) {
    if (from == "found") return "with its gain as it was read at its output";
    if (from == "dial_end") return "with its dial at its end";
    if (from == "required") return "with its gain as it must be set";
    return "with its gain set for the source's stated voltage (a guess, to 3 dB)";
}

void tell_missing(const Job& job, const AmplifierData& amplifier, const ChannelFloor& channel, AmplifierFloor& out) {
    if (!channel.floor.unweighted.dbv) out.notes.emplace_back("not calibrated, so nothing is told against its power");
    if (!full_output_v(amplifier)) out.notes.emplace_back("power_w and load_ohm, both above 0, are needed to hold the floor against its power");
    const bool speaker = std::any_of(job.speakers.begin(), job.speakers.end(),
                                     [&](const SpeakerData& one) { return one.amplifier == amplifier.name && one.sensitivity_db_2v83_1m; });
    if (!speaker) out.notes.emplace_back("no speaker of it with a sensitivity is in the job, so nothing is told at the ear");
}

void hold_one(const FloorCase& the, const AmplifierData& amplifier, ChannelFloor& channel) {
    AmplifierFloor out;
    out.amplifier = amplifier.name;
    out.bass_only = plays_bass_only(the.job, amplifier);
    if (amplifier.load_ohm && std::isfinite(*amplifier.load_ohm) && *amplifier.load_ohm > 0.0) out.load_ohm = amplifier.load_ohm;
    const AmplifierSetting* setting = setting_of(the.gain, amplifier.name);
    const auto gain = known_gain(the, amplifier, setting, channel);
    tell_missing(the.job, amplifier, channel, out);
    if (!gain) {
        if (full_output_v(amplifier))
            out.notes.emplace_back("its gain isn't known: a stepped take tells what it must be, a meter's reading at its output what it is");
        channel.amplifiers.push_back(std::move(out));
        return;
    }
    out.gain_from = gain->from;
    out.gain_db = Reading{gain->db, gain->sd_db, {}};
    out.notes.emplace_back(gain_words(gain->from));
    const double to_input = amplitude_from_decibels(-gain->db);
    if (const auto full_v = full_output_v(amplifier)) out.full_power_v = *full_v * to_input;
    if (out.load_ohm) out.one_watt_v = std::sqrt(*out.load_ohm) * to_input;
    if (amplifier.converter) {
        out.notes.emplace_back("a converter lies before its input: the figures hold where the probe was behind it");
    }
    if (channel.floor.unweighted.dbv) {
        const auto all = held(the, channel.floor.unweighted), all_a = held(the, channel.floor.a_weighted),
                   hiss_a = held_hiss(the, channel.floor);
        if (out.one_watt_v) {
            const double watt_dbv = decibels_from_amplitude(*out.one_watt_v);
            if (all) out.signal_to_noise_1w_db = ratio(watt_dbv - all->db, *all, gain->held_sd_db);
            if (all_a) out.signal_to_noise_1w_a_db = ratio(watt_dbv - all_a->db, *all_a, gain->held_sd_db);
        }
        if (hiss_a && out.full_power_v)
            out.hiss_re_full_power_db = ratio(hiss_a->db - decibels_from_amplitude(*out.full_power_v), *hiss_a, gain->held_sd_db);
        if (hiss_a)
            if (const auto spl = at_ear_db_spl(the.job, amplifier, hiss_a->db + gain->db))
                out.hiss_at_ear_db_spl = ratio(*spl, *hiss_a, std::hypot(gain->held_sd_db, kSpeakerSd_db));
        hold_lines(the, amplifier, *gain, channel, out);
    }
    if (out.bass_only)
        out.notes.push_back(fmt::format("it plays bass alone: lines above {:g} Hz don't count, and its low-pass takes most of the hiss",
                                        kBassTop_hz));
    channel.amplifiers.push_back(std::move(out));
}

}  // namespace

bool feeds(const Job& job, const GainAnalysis* gain, const AmplifierData& amplifier, Channel channel) {
    const AmplifierSetting* setting = setting_of(gain, amplifier.name);
    const auto& channels = !amplifier.channels.empty() ? amplifier.channels : setting ? setting->channels : amplifier.channels;
    if (!channels.empty()) return std::find(channels.begin(), channels.end(), channel) != channels.end();
    const bool sub_captured = std::any_of(job.takes.begin(), job.takes.end(), [](const Take& take) {
        return std::find(take.channels.begin(), take.channels.end(), Channel::sub) != take.channels.end();
    });
    return !sub_captured || (channel == Channel::sub) == named_sub(amplifier);
}

void hold_to_amplifiers(const FloorCase& the, ChannelFloor& channel) {
    if (channel.floor.third_octaves.empty()) return;
    const auto& at = the.take.conditions.at_amplifier;
    for (const AmplifierData& amplifier : the.job.amplifiers)
        if (at ? *at == amplifier.name : feeds(the.job, the.gain, amplifier, channel.channel)) hold_one(the, amplifier, channel);
}

}  // namespace hushtrace
