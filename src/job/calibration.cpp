#include "hushtrace/job/calibration.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>

#include "hushtrace/measure/tone_reading.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "steady_stretch.hpp"

namespace hushtrace {
namespace {

constexpr double kMostRead_s = 120, kMostUsed_s = 20;
constexpr double kFrequencyTolerance =
    0.02;  // a source's clock is off by tens of ppm, a mistaken tone by far more
constexpr double kMostChannelDifference_db = 6;  // two ends of one Y lead differ by less
constexpr double kOtherWarned_db = -30, kOtherRefused_db = -20;
constexpr double kLowTone_dbfs = -45;

[[noreturn]] void refuse(const Take& take, const std::string& why) {
    throw Error(ErrorKind::invalid_input, fmt::format("{}: {}", take.file, why));
}

void check_request(const Take& take, const CalibrationRequest& request) {
    const auto wrong = [](const std::string& why) { throw Error(ErrorKind::invalid_request, why); };
    if (!(request.volts > 0) || !(request.volts <= 1000))
        wrong(fmt::format("{} V is no meter reading to calibrate by", request.volts));
    if (!(request.frequency_hz >= 10))
        wrong(fmt::format("{} Hz is too low a tone to calibrate by", request.frequency_hz));
    if (request.frequency_hz > request.meter_good_to_hz)
        wrong(
            fmt::format("a tone of {} Hz, but plain meters read low above {} Hz; use 200 Hz, or say how far "
                        "yours is good",
                        request.frequency_hz, request.meter_good_to_hz));
    if (request.channel &&
        std::find(take.channels.begin(), take.channels.end(), *request.channel) == take.channels.end())
        wrong(fmt::format("{}: has no channel '{}'", take.file, to_word(*request.channel)));
    for (const TakeFault fault : {TakeFault::overload, TakeFault::dropout})
        if (take.has(fault))
            refuse(take, fmt::format("is marked '{}'; make another take to calibrate by", to_word(fault)));
}

/// As much of a long stretch as the reading needs, clear of its ends: these may still hold a piece of a ramp.
Stretch middle(Stretch stretch) {
    constexpr double edge_s = 0.1;
    const double spare_s = std::max(stretch.duration_s() - kMostUsed_s, stretch.duration_s() >= 1 ? 2 * edge_s : 0.0);
    if (spare_s <= 0) return stretch;
    return {stretch.from_s + spare_s / 2, stretch.to_s - spare_s / 2};
}

/// Reads the tone of one channel, and says why it can't be used.
ChannelCalibration read_channel(const Take& take, std::size_t index, std::span<const double> samples,
                                double rate_hz, const CalibrationRequest& request) {
    const std::string_view name = to_word(take.channels[index]);
    if (const auto overload = first_overload_s(samples, rate_hz))
        refuse(
            take,
            fmt::format(
                "the {} channel is overloaded at {:.2f} s; turn the interface's input down and take it again",
                name, *overload));
    const auto stretch = steady_stretch(samples, rate_hz, request.frequency_hz);
    const double found_s = stretch ? stretch->duration_s() : 0.0;
    const Stretch used = middle(stretch.value_or(Stretch{0, static_cast<double>(samples.size()) / rate_hz}));
    std::optional<ToneReading> tone;
    try {
        tone = read_tone(used.of(samples, rate_hz), rate_hz);
    } catch (const Error&) {
        refuse(take, fmt::format("no tone in the {} channel", name));
    }
    if (tone->false_tone_probability > 1e-3) refuse(take, fmt::format("no tone in the {} channel", name));
    if (std::abs(tone->frequency_hz / request.frequency_hz - 1) > kFrequencyTolerance)
        refuse(take, fmt::format("the strongest tone in the {} channel is at {:.1f} Hz, not at {} Hz", name,
                                 tone->frequency_hz, request.frequency_hz));
    if (found_s < 1)
        refuse(take,
               fmt::format("the tone in the {} channel is steady for {:.1f} s at most; 1 s or more is needed",
                           name, found_s));

    const double all = mean_square(used.of(samples, rate_hz)) - tone->mean * tone->mean;
    const double of_tone = tone->amplitude * tone->amplitude / 2;
    const double other = std::max(all - of_tone, 1e-30);
    ChannelCalibration found;
    found.index = index;
    found.channel = take.channels[index];
    found.level_dbfs = tone->level_dbfs;
    found.level_sd_db = tone->level_sd_db;
    found.frequency_hz = tone->frequency_hz;
    found.frequency_sd_hz = tone->frequency_sd_hz;
    found.other_db = decibels_from_power(other / of_tone);
    found.from_s = used.from_s;
    found.to_s = used.to_s;
    if (found.other_db > kOtherRefused_db)
        refuse(
            take,
            fmt::format(
                "noise and distortion in the {} channel stand only {:.0f} dB below the tone; a meter would "
                "read them too",
                name, -found.other_db));
    const double pad_db = index < take.attenuation_db.size() ? take.attenuation_db[index] : 0.0;
    // the meter's volts are rms at the probe; behind the pad they make a sine of this amplitude
    found.volts_full_scale =
        request.volts * std::sqrt(2.0) / tone->amplitude * amplitude_from_decibels(-pad_db);
    // A meter of true rms reads the rest along with the tone; whether it does is not known: half of that either way.
    const double impurity_db = decibels_from_power(1 + power_from_decibels(found.other_db)) / std::sqrt(12.0);
    const double meter_db = decibels_from_amplitude(1 + request.meter_sd_percent / 100);
    found.volts_full_scale_sd_db = std::hypot(found.level_sd_db, impurity_db, meter_db);
    return found;
}

void compare_channels(const Take& take, const Calibration& calibration) {
    if (calibration.channels.size() < 2) return;
    const auto probe_level = [&](const ChannelCalibration& one) {
        return one.level_dbfs +
               (one.index < take.attenuation_db.size() ? take.attenuation_db[one.index] : 0.0);
    };
    const auto range =
        std::minmax_element(calibration.channels.begin(), calibration.channels.end(),
                            [&](const auto& a, const auto& b) { return probe_level(a) < probe_level(b); });
    const double difference = probe_level(*range.second) - probe_level(*range.first);
    if (difference > kMostChannelDifference_db)
        refuse(take,
               fmt::format(
                   "the {} channel stands {:.1f} dB above the {} channel; name the one that the meter was on "
                   "(--channel {})",
                   to_word(range.second->channel), difference, to_word(range.first->channel),
                   to_word(range.second->channel)));
}

void remark(Calibration& calibration, const Take& take) {
    const auto warn = [&](const char* code, const std::string& text) {
        calibration.warnings.push_back({code, text, take.file});
    };
    for (const ChannelCalibration& one : calibration.channels) {
        const std::string_view name = to_word(one.channel);
        if (one.level_dbfs < kLowTone_dbfs)
            warn(
                "tone_low",
                fmt::format("the tone in the {} channel is low ({:.1f} dBFS); a louder one calibrates better",
                            name, one.level_dbfs));
        if (one.other_db > kOtherWarned_db)
            warn("tone_impure",
                 fmt::format("noise and distortion in the {} channel stand {:.0f} dB below the tone; a meter "
                             "reads up to {:.2g} % more than the tone",
                             name, -one.other_db,
                             100 * (std::sqrt(1 + power_from_decibels(one.other_db)) - 1)));
        if (one.volts_full_scale < 0.05 || one.volts_full_scale > 200)
            warn(
                "scale_unusual",
                fmt::format("{:.4g} V at full scale in the {} channel is unusual for an interface: check the "
                            "meter's range",
                            one.volts_full_scale, name));
    }
}

}  // namespace

double meter_sd_percent(const MeterAccuracy& accuracy, double volts, double count_v) {
    return (accuracy.percent + 100 * accuracy.counts * count_v / volts) / std::sqrt(3.0);
}

Calibration calibrate(BlockReader& sound, const Take& take, const CalibrationRequest& request) {
    check_request(take, request);
    if (sound.channels() != take.channels.size())
        refuse(take, fmt::format("the job names {} channels, the file has {}", take.channels.size(),
                                 sound.channels()));
    const auto samples = read_beginning(sound, kMostRead_s);
    Calibration calibration;
    for (std::size_t c = 0; c < samples.size(); ++c) {
        const bool wanted =
            request.channel ? take.channels[c] == *request.channel : carries_signal(take.channels[c]);
        if (wanted)
            calibration.channels.push_back(
                read_channel(take, c, samples[c], sound.sample_rate_hz(), request));
    }
    if (calibration.channels.empty())
        refuse(take, "has no signal channel; name the channel that the meter was on (--channel supply)");
    compare_channels(take, calibration);
    remark(calibration, take);
    return calibration;
}

}  // namespace hushtrace
