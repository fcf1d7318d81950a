#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "amplifier_parts.hpp"
#include "hushtrace/job/calibration.hpp"
#include "hushtrace/job/percent_text.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double kSameTone = 0.01;         // relative
constexpr double kMoreThanItCan = 4.0;     // of the rated output: no amplifier gives 12 dB more, so the reading is another unit or slip
constexpr double kMeterDigit_v = 0.01;     // a meter's last digit on the range of some volts: the job keeps no more than the number

bool is_output_take(const Take& take) {
    Take at_input = take;
    at_input.conditions.point = Point::amp_input;
    return take.conditions.point == Point::amp_output && is_gain_take(at_input);
}

bool lists(const AmplifierData& amplifier, Channel channel) {
    return std::find(amplifier.channels.begin(), amplifier.channels.end(), channel) != amplifier.channels.end();
}

/// Whether a reading is this amplifier's: by its name, else where the job leaves no other.
bool belongs(const Job& job, const AmplifierData& amplifier, const Conditions& conditions, std::optional<Channel> channel) {
    if (conditions.at_amplifier) return *conditions.at_amplifier == amplifier.name;
    if (job.amplifiers.size() == 1) return true;
    if (!channel || !lists(amplifier, *channel)) return false;
    return std::none_of(job.amplifiers.begin(), job.amplifiers.end(), [&](const AmplifierData& other) {
        return &other != &amplifier && (other.channels.empty() || lists(other, *channel));
    });
}

/// The curve at the input that an output is held against: of the same channel and tone where there is one.
const GainCurve* counterpart(const AmplifierCase& the, std::optional<Channel> channel, std::optional<double> tone_hz) {
    const GainCurve* best = the.loudest;
    int best_marks = -1;
    for (const GainCurve* one : the.feeding) {
        const bool same_tone = tone_hz && std::abs(one->curve.tone_hz / *tone_hz - 1.0) < kSameTone;
        const int marks = (channel == one->curve.channel ? 4 : 0) + (same_tone ? 2 : 0) + (one == the.loudest && !channel ? 1 : 0);
        if (marks > best_marks && level_at(*one, std::nullopt)) best_marks = marks, best = one;
    }
    return best;
}

/// What the amplifier's input gets at a volume with a tone of this level.
std::optional<FeedLevel> input_at(const AmplifierCase& the, const GainCurve& curve, std::optional<double> volume,
                                  double tone_dbfs) {
    auto level = level_at(curve, volume);
    if (!level) return level;
    const double factor = the.to_input * amplitude_from_decibels(tone_dbfs - curve.tone_level_dbfs);
    level->v *= factor;
    if (level->v_sd) *level->v_sd *= factor;
    return level;
}

double relative_sd_db(double v, std::optional<double> v_sd) { return v_sd ? decibels_from_amplitude(1.0 + *v_sd / v) : 0.0; }

std::string place_text(const OutputReading& one) {
    std::string text = one.take ? *one.take : "the meter";
    if (one.channel) text += fmt::format(", {}", to_word(*one.channel));
    if (one.measured_v) text += fmt::format(": {:.1f} V", *one.measured_v);
    if (one.volume) text += fmt::format(" at volume {:g}", *one.volume);
    if (one.tone_hz && one.tone_dbfs) text += fmt::format(" with {:g} Hz at {:g} dBFS", *one.tone_hz, *one.tone_dbfs);
    return text;
}

/// Where the source's level isn't that of the reading's own volume.
std::string volume_caveat(const AmplifierCase& the, const GainCurve* input_curve, const OutputReading& one) {
    if (!one.gain_now_db || !one.volume || !the.feed || !input_curve) return {};
    const auto level = level_at(*input_curve, one.volume);
    if (!level || !level->volume_unknown) return {};
    return fmt::format(". The volumes of {} aren't known: the source's level is that of its highest clean step, whatever the volume",
                       input_curve->curve.take);
}

/// Gain as it stands, what it must change, and the verdict by it.
void judge(const FeedLevel& input, const AmplifierSetting& setting, OutputReading& one) {
    one.gain_now_db = decibels_from_amplitude(*one.measured_v / input.v);
    one.gain_sd_db = std::hypot(one.measured_sd_db.value_or(0.0), relative_sd_db(input.v, input.v_sd));
    if (!setting.gain_db) return;
    one.expected_v = input.v * amplitude_from_decibels(*setting.gain_db);
    one.turn_db = *setting.gain_db - *one.gain_now_db;
    one.verdict = std::abs(*one.turn_db) <= kOutputTolerance_db ? "at_target" : *one.turn_db > 0 ? "turn_up" : "turn_down";
}

void say(const AmplifierSetting& setting, OutputReading& one) {
    one.text = place_text(one);
    if (one.verdict == "at_target") {
        one.text += fmt::format(", {:.1f} V wanted: at the target (within {:g} dB)", *one.expected_v, kOutputTolerance_db);
    } else if (one.verdict == "turn_up" || one.verdict == "turn_down") {
        const bool up = one.verdict == "turn_up";
        one.text += fmt::format(", {:.1f} V wanted: {:.1f} dB too {}. Turn its gain {} by {:.1f} dB, until it reads {:.1f} V, and read again",
                                *one.expected_v, std::abs(*one.turn_db), up ? "low" : "high", up ? "up" : "down", std::abs(*one.turn_db),
                                *one.expected_v);
        const auto& reached = setting.gain_reached_db;
        if (up && reached && *one.gain_now_db >= *reached - kOutputTolerance_db) one.text += "; its dial goes no further";
    } else if (one.verdict == "clips_below_target") {
        one.text += fmt::format(
            ". The amplifier itself clips from {:.1f} V on (THD {}), with a clean input, below its target of {:.1f} V: look at its supply "
            "under load, its "
            "load, its rating; until then turn its gain down until the tone is clean",
            *one.clips_from_v, percent_text(one.thd_percent.value_or(0.0)), *setting.target_output_v);
    }
}

OutputReading read_take(const AmplifierCase& the, const GainCurve& output, double limit_thd_percent, const AmplifierSetting& setting) {
    OutputReading one;
    one.verdict = "unknown";
    one.take = output.curve.take;
    one.channel = output.curve.channel;
    one.tone_hz = output.curve.tone_hz;
    one.tone_dbfs = output.tone_level_dbfs;
    const auto volume_of = [&](const VolumeStep& step) {
        return step.volume ? step.volume : output.take->conditions.volume ? output.take->conditions.volume : setting.volume;
    };
    // Above the ceiling the source clips by itself.
    const VolumeStep *best = nullptr, *clipped = nullptr;
    for (const VolumeStep& step : output.curve.steps) {
        if (step.input_overload || (setting.volume && volume_of(step).value_or(0.0) > *setting.volume)) continue;
        const bool clean = step.thd_percent + 2.0 * step.thd_sd_percent <= limit_thd_percent;
        const bool bent = step.thd_percent - 2.0 * step.thd_sd_percent > limit_thd_percent;
        if (clean && (!best || step.level_dbfs > best->level_dbfs)) best = &step;
        if (bent && (!clipped || step.level_dbfs < clipped->level_dbfs)) clipped = &step;
    }
    const VolumeStep* shown = best ? best : clipped;
    if (!shown) {
        one.text = fmt::format("{}, {}: nothing to read of the tone at or below the source's ceiling", *one.take, to_word(*one.channel));
        return one;
    }
    one.volume = volume_of(*shown);
    one.thd_percent = shown->thd_percent;
    one.measured_v = shown->level_v;
    if (!shown->level_v) {
        one.text = place_text(one) + fmt::format(": {:.1f} dBFS, THD {}; not calibrated, so its volts aren't known", shown->level_dbfs,
                                                 percent_text(shown->thd_percent));
        return one;
    }
    if (shown->level_v_sd) one.measured_sd_db = relative_sd_db(*shown->level_v, shown->level_v_sd);
    if (clipped) one.clips_from_v = clipped->level_v;
    const GainCurve* input_curve = counterpart(the, one.channel, one.tone_hz);
    const auto input = the.feed && input_curve ? input_at(the, *input_curve, one.volume, *one.tone_dbfs) : std::nullopt;
    if (input && best) judge(*input, setting, one);
    if (clipped && setting.target_output_v && *clipped->level_v < *setting.target_output_v * amplitude_from_decibels(-kOutputTolerance_db)) {
        one.verdict = "clips_below_target";
        one.thd_percent = clipped->thd_percent;
        one.turn_db.reset();
    }
    say(setting, one);
    if (one.verdict == "unknown")
        one.text += !best ? fmt::format(": distorted (THD {}), so it tells no gain", percent_text(shown->thd_percent))
                          : ": what its input gets at that volume isn't known, so it tells no gain";
    one.text += volume_caveat(the, input_curve, one);
    if (output.take->attenuation_db.empty()) one.text += ". No pad was stated for this take (attenuation_db): none is assumed";
    return one;
}

OutputReading read_meter(const AmplifierCase& the, std::size_t index, const AmplifierSetting& setting) {
    const Observation& seen = the.job.job.observations[index];
    OutputReading one;
    one.verdict = "unknown";
    one.observation = index;
    one.measured_v = seen.value;
    one.measured_sd_db = decibels_from_amplitude(1.0 + 0.01 * meter_sd_percent(MeterAccuracy{}, std::max(*seen.value, kMeterDigit_v), kMeterDigit_v));
    one.volume = seen.conditions.volume ? seen.conditions.volume : setting.volume;
    const Sine* sine = seen.tone ? std::get_if<Sine>(&seen.tone->waveform) : nullptr;
    if (sine) {
        one.tone_hz = sine->frequency_hz;
        one.tone_dbfs = sine->level_dbfs;
    } else if (the.loudest && !seen.tone) {
        one.tone_hz = setting.confirm_tone_hz.value_or(the.loudest->curve.tone_hz);
        one.tone_dbfs = setting.confirm_tone_dbfs.value_or(the.tone_dbfs);
    }
    const double good_to_hz = seen.meter_good_to_hz.value_or(CalibrationRequest{}.meter_good_to_hz);
    const GainCurve* input_curve = counterpart(the, std::nullopt, one.tone_hz);
    const auto input = the.feed && input_curve && one.tone_dbfs ? input_at(the, *input_curve, one.volume, *one.tone_dbfs) : std::nullopt;
    const bool meter_reads = !one.tone_hz || *one.tone_hz <= good_to_hz;
    const bool source_clips = seen.conditions.volume && setting.volume && *seen.conditions.volume > *setting.volume;
    const bool beyond = setting.rated_output_v && *one.measured_v > kMoreThanItCan * *setting.rated_output_v;
    if (input && *one.measured_v > 0 && meter_reads && !source_clips && !beyond) judge(*input, setting, one);
    say(setting, one);
    if (source_clips)
        one.text += fmt::format(": volume {:g} is above the ceiling, where the source itself clips, so this tells no gain. Read it at volume {:g} "
                                "or lower",
                                *seen.conditions.volume, *setting.volume);
    else if (beyond)
        one.text += fmt::format(": far more than the {:.1f} V that it is rated for. Look at the meter's unit and range, and note it anew",
                                *setting.rated_output_v);
    else if (!meter_reads)
        one.text += fmt::format(
            ": a plain meter reads low above some {:g} Hz (common practice, no source), so this tells no gain. Read it with a tone of 50 to 200 "
            "Hz, or say up to "
            "where the meter is good (--meter-good-to)",
            good_to_hz);
    else if (one.verdict == "unknown")
        one.text += *one.measured_v > 0 ? ": what its input gets there isn't known, so it tells no gain"
                                        : ": nothing came out; is the amplifier on, the tone playing?";
    if (one.gain_now_db && !seen.tone) one.text += ". The tone wasn't stated: the one that should confirm the setting is assumed";
    if (one.gain_now_db && !seen.conditions.volume && setting.volume) one.text += ". The volume wasn't stated: the ceiling's is assumed";
    one.text += volume_caveat(the, input_curve, one);
    if (one.gain_now_db)
        one.text += fmt::format(". Its accuracy isn't in the job: {:g} % and {:g} counts of {:g} V are assumed (±{:.1f} dB)", MeterAccuracy{}.percent,
                                MeterAccuracy{}.counts, kMeterDigit_v, 2.0 * *one.measured_sd_db);
    if (one.gain_now_db && input_curve && one.tone_hz && std::abs(input_curve->curve.tone_hz / *one.tone_hz - 1.0) > kSameTone)
        one.text += fmt::format(". The source's level was captured at {:g} Hz and is taken to be the same at {:g} Hz",
                                input_curve->curve.tone_hz, *one.tone_hz);
    return one;
}

}  // namespace

std::vector<GainCurve> read_output_takes(const OpenedJob& job, const OpenTake& open, std::vector<Warning>& warnings) {
    std::vector<GainCurve> outputs;
    for (const Take& take : job.job.takes) {
        if (!is_output_take(take)) continue;
        try {
            for (GainCurve& one : read_curves(job, take, open, warnings)) outputs.push_back(std::move(one));
        } catch (const Error& error) {
            warnings.push_back({"take_unreadable", error.what(), take.file});
            continue;
        }
        const bool told = std::any_of(take.channels.begin(), take.channels.end(), [&](Channel channel) {
            return std::any_of(job.job.amplifiers.begin(), job.job.amplifiers.end(),
                               [&](const AmplifierData& one) { return belongs(job.job, one, take.conditions, channel); });
        });
        if (!told && !job.job.amplifiers.empty())
            warnings.push_back({"amplifier_unknown",
                                "whose output this take holds isn't known: name the amplifier (--at-amplifier), or its channels in the job",
                                take.file});
    }
    return outputs;
}

void check_output(const AmplifierCase& the, const std::vector<GainCurve>& outputs, double limit_thd_percent, AmplifierSetting& setting) {
    const Job& job = the.job.job;
    for (const GainCurve& output : outputs)
        if (belongs(job, the.amplifier, output.take->conditions, output.curve.channel))
            setting.output_readings.push_back(read_take(the, output, limit_thd_percent, setting));
    for (std::size_t i = 0; i < job.observations.size(); ++i) {
        const Observation& seen = job.observations[i];
        if (seen.what == "amplifier_output" && seen.value && belongs(job, the.amplifier, seen.conditions, std::nullopt))
            setting.output_readings.push_back(read_meter(the, i, setting));
    }
}

}  // namespace hushtrace
