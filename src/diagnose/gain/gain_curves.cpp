#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../takes/take_spans.hpp"
#include "gain_parts.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/measure/distortion.hpp"
#include "hushtrace/measure/level.hpp"
#include "hushtrace/measure/plateaus.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double kMostRead = 1.5;            // [s] of a plateau; more wouldn't sharpen the reading noticeably
constexpr double kToneTolerance = 500e-6;    // clocks differ by up to 200 ppm
constexpr double kLeastThere_s = 0.5;        // of a tone that noise may hide
constexpr double kAudibleAmplitude = 0.003;  // -50 dBFS: a stray tone below that is no test tone

struct PlayedSine {
    double frequency_hz = 0, level_dbfs = 0;
    bool stepped = false;
};
std::optional<PlayedSine> played_sine(const Take& take) {
    if (!take.tone) return std::nullopt;
    if (const auto* sine = std::get_if<Sine>(&take.tone->waveform))
        return PlayedSine{sine->frequency_hz, sine->level_dbfs, false};
    if (const auto* stepped = std::get_if<Stepped>(&take.tone->waveform);
        stepped && !stepped->levels_dbfs.empty())
        return PlayedSine{stepped->frequency_hz,
                          *std::max_element(stepped->levels_dbfs.begin(), stepped->levels_dbfs.end()), true};
    return std::nullopt;
}

/// What a channel's full scale is worth, where calibrated.
struct ScaleInVolts {
    std::optional<double> volts_full_scale, sd_db;
};

struct Surveyed {
    double rate = 0;
    std::vector<std::size_t> file_channels;  // of the signal channels
    std::vector<ToneTrack> tracks;
};

Surveyed survey(const Take& take, const PlayedSine& tone, const OpenTake& open) {
    const auto reader = open(take);
    Surveyed out;
    out.rate = reader->sample_rate_hz();
    if (reader->channels() < take.channels.size())
        throw Error(ErrorKind::invalid_input,
                    fmt::format("{}: job.json names {} channels, the file has {}", take.file,
                                take.channels.size(), reader->channels()));
    // Symmetrical clipping shows in the third harmonic first: without it nothing can be said.
    const double band_end_hz = std::min(20000.0, 0.475 * out.rate);
    if (3.0 * tone.frequency_hz > band_end_hz)
        throw Error(
            ErrorKind::invalid_input,
            fmt::format("{}: the third harmonic of a {:g} Hz tone lies above {:.0f} Hz, so clipping can't be "
                        "seen; use 997 Hz",
                        take.file, tone.frequency_hz, band_end_hz));
    std::vector<ToneTracker> trackers;
    for (std::size_t c = 0; c < take.channels.size(); ++c)
        if (carries_signal(take.channels[c])) {
            out.file_channels.push_back(c);
            trackers.emplace_back(out.rate, tone.frequency_hz);
        }
    Block block;
    while (reader->read(block, kReadFrames) > 0)
        for (std::size_t i = 0; i < trackers.size(); ++i)
            trackers[i].add(block.channel(out.file_channels[i]));
    for (const ToneTracker& tracker : trackers) out.tracks.push_back(tracker.track());
    return out;
}

/// The longest run of frames that hold one steady line at one level, other than the stated tone.
std::optional<Span> other_tone(const ToneTrack& track) {
    const auto holds_line = [](const ToneFrame& f) {
        return f.strongest_share > 0.5F && f.largest > kAudibleAmplitude;
    };
    const float bin_hz = static_cast<float>(1.0 / track.frame_s);
    Span best;
    double longest_s = 0.3;  // a marker's chirp is never so long at one frequency
    for (std::size_t t = 0; t < track.frames.size();) {
        if (!holds_line(track.frames[t])) {
            ++t;
            continue;
        }
        const std::size_t first = t;
        while (t < track.frames.size() && holds_line(track.frames[t]) &&
               std::abs(track.frames[t].strongest_hz - track.frames[first].strongest_hz) < 0.5F * bin_hz &&
               std::abs(track.frames[t].largest / track.frames[first].largest - 1.0F) < 0.02F)
            ++t;
        const double from_s = track.centre_s(first), to_s = track.centre_s(t - 1);
        if (to_s - from_s > longest_s) {
            longest_s = to_s - from_s;
            best = {from_s, std::min(to_s, from_s + kMostRead)};
        }
    }
    if (best.to_s <= best.from_s) return std::nullopt;
    return best;
}

/// How long the tone is there; what noise makes of a frame or two doesn't count.
double tone_there_s(const ToneTrack& track) {
    constexpr std::size_t kFewestFrames = 4;
    std::size_t sum = 0, run = 0;
    for (const ToneFrame& frame : track.frames) {
        run = frame.present ? run + 1 : 0;
        if (run >= kFewestFrames) sum += run == kFewestFrames ? kFewestFrames : 1;
    }
    return track.hop_s * static_cast<double>(sum);
}

/// Whether noise stands far over the tone: its crest then reaches twice the tone's and more.
bool is_drowned(const ToneTrack& track) {
    constexpr float kTonesShare = 0.5F, kRoundingShare = 1e-6F;  // dc alone leaves rounding that looks like a tone
    std::vector<float> shares;
    for (const ToneFrame& frame : track.frames)
        if (frame.present && frame.largest > 0) shares.push_back(frame.amplitude / frame.largest);
    if (shares.empty()) return false;
    const auto middle = shares.begin() + static_cast<std::ptrdiff_t>(shares.size() / 2);
    std::nth_element(shares.begin(), middle, shares.end());
    return *middle > kRoundingShare && *middle < kTonesShare;
}

ToneSearch search_for(const PlayedSine& tone, double rate, double half_width_hz) {
    return {std::max(0.6 * tone.frequency_hz, tone.frequency_hz - half_width_hz),
            std::min(0.5 * rate, tone.frequency_hz + half_width_hz)};
}

VolumeStep read_step(std::span<const double> samples, double rate, const PlayedSine& tone,
                     double half_width_hz, const ScaleInVolts& scale, double& found_hz) {
    DistortionRequest request;
    request.search = search_for(tone, rate, half_width_hz);
    request.lowest_hz = std::min(20.0, 0.5 * tone.frequency_hz);
    const Distortion reading = measure_distortion(samples, rate, request);
    VolumeStep step;
    step.level_dbfs = reading.tone.level_dbfs;
    step.level_sd_db = reading.tone.level_sd_db;
    if (scale.volts_full_scale) {
        step.level_v = volts_from_dbv(dbv_from_dbfs(step.level_dbfs, *scale.volts_full_scale));
        if (scale.sd_db)
            step.level_v_sd =
                *step.level_v * (amplitude_from_decibels(std::hypot(step.level_sd_db, *scale.sd_db)) - 1.0);
    }
    step.thd_percent = reading.thd_percent();
    step.thd_sd_percent = reading.thd_sd_percent();
    step.thd_noise_percent = 100.0 * reading.thd_noise_ratio;
    step.thd_noise_sd_percent = 100.0 * reading.thd_noise_sd_ratio;
    step.harmonics_counted = reading.harmonics.size();
    step.harmonics_missing = reading.harmonics_missing;
    step.input_overload = share_pinned_to_rail(samples) > kPinnedOverload;
    step.thd_limited_by = step.input_overload        ? LimitedBy::interface
                          : reading.limited_by_noise ? LimitedBy::noise
                                                     : LimitedBy::nothing;
    step.frequency_hz = reading.tone.frequency_hz;
    step.frequency_sd_hz = reading.tone.frequency_sd_hz;
    found_hz = reading.tone.frequency_hz;
    return step;
}

void warn_of_match(const MatchedSteps& matched, const Take& take, std::vector<Warning>& warnings) {
    const std::size_t found = matched.plateaus.size(), named = take.volume_steps.size();
    if (named == 0 || found == 0) return;
    switch (matched.how) {
        case StepMatch::one_to_one:
            break;
        case StepMatch::by_level:
            warnings.push_back(
                {"steps_by_level",
                 fmt::format("{} plateaus were found for {} volumes: equal ones were taken for the same "
                             "volume, and volumes given by level",
                             found, named),
                 take.file});
            break;
        case StepMatch::at_clicks:
            warnings.push_back(
                {"steps_at_clicks",
                 "some steps changed neither level nor distortion and were told apart by their clicks "
                 "alone: a limiter may be at work",
                 take.file});
            break;
        case StepMatch::short_ones_left:
            warnings.push_back(
                {"steps_short", "short stops of the knob between the steps were left out", take.file});
            break;
        case StepMatch::turned_down_left:
            warnings.push_back({"steps_turned_down", "the stops at the end, as the volume was turned down, were left out", take.file});
            break;
        case StepMatch::none:
            warnings.push_back(
                {"steps_unmatched",
                 fmt::format(
                     "{} plateaus were found, but volume_steps names {}: steps are numbered, their volumes stay unknown. Correct "
                     "volume_steps, or capture again with each step held for two seconds{}",
                     found, named,
                     found < named ? ". Steps that change nothing (behind a limiter, or where the source turns its bass down by as "
                                     "much as the volume rises) can't be counted"
                                   : ""),
                 take.file});
            break;
    }
    if (matched.in_contradiction)
        warnings.push_back(
            {"steps_contradict",
             "a higher volume came out quieter than a lower one: check the order of volume_steps",
             take.file});
}

}  // namespace

bool is_gain_take(const Take& take) {
    return played_sine(take) && take.conditions.point != Point::amp_output &&
           std::any_of(take.channels.begin(), take.channels.end(), carries_signal);
}

std::vector<GainCurve> read_curves(const OpenedJob& job, const Take& take, const OpenTake& open,
                                   std::vector<Warning>& warnings) {
    const PlayedSine tone = *played_sine(take);
    const Surveyed surveyed = survey(take, tone, open);
    if (const double top_hz = 0.475 * surveyed.rate; top_hz < 20000.0 && 9.0 * tone.frequency_hz > top_hz)
        warnings.push_back(
            {"harmonics_missing",
             fmt::format("at this sample rate harmonics above {:.0f} Hz are missing: distortion reads low. "
                         "Capture at 44.1 kHz or more",
                         top_hz),
             take.file});
    std::vector<Plateau> plateaus = find_plateaus(surveyed.tracks);
    MatchedSteps matched;
    if (tone.stepped || take.volume_steps.empty()) {
        matched.volumes.resize(plateaus.size());
        // one volume throughout: a single plateau is that volume's
        if (!tone.stepped && plateaus.size() == 1) matched.volumes[0] = take.conditions.volume;
        matched.plateaus = std::move(plateaus);
    } else {
        matched = match_steps(std::move(plateaus), take.volume_steps);
        warn_of_match(matched, take, warnings);
    }

    std::vector<GainCurve> curves;
    for (const std::size_t channel : surveyed.file_channels) {
        GainCurve one;
        one.take = &take;
        one.tone_is_stepped = tone.stepped;
        one.tone_level_dbfs = tone.level_dbfs;
        one.referred = job.job.referred_to_probe(take, channel);
        one.curve.take = take.file;
        one.curve.channel = take.channels[channel];
        one.curve.tone_hz = tone.frequency_hz;
        one.tone_there_s = tone_there_s(surveyed.tracks[curves.size()]);
        one.drowned = one.tone_there_s > kLeastThere_s && is_drowned(surveyed.tracks[curves.size()]);
        curves.push_back(one);
    }

    const bool volumes_known = std::all_of(matched.volumes.begin(), matched.volumes.end(), [](auto& v) { return v.has_value(); });
    if (!volumes_known)
        for (GainCurve& one : curves) one.setting_of_step = settings_by_level(matched.plateaus);

    std::vector<Span> spans;
    for (const Plateau& plateau : matched.plateaus) {
        auto [from_s, to_s] = plateau.longest_part_s();
        if (to_s - from_s > kMostRead) {
            const double middle_s = 0.5 * (from_s + to_s);
            from_s = middle_s - 0.5 * kMostRead;
            to_s = middle_s + 0.5 * kMostRead;
        }
        spans.push_back({from_s, to_s});
    }
    std::vector<std::vector<double>> found_hz(curves.size());
    const double half_width_hz = 2.0 / surveyed.tracks.front().frame_s;
    std::vector<KneeWatch> knees(curves.size(), KneeWatch(job.job.ceiling_thd_percent()));
    const auto reader = open(take);
    read_spans(*reader, spans, [&](std::size_t index, const Block& block) {
        const Plateau& plateau = matched.plateaus[index];
        for (std::size_t i = 0; i < curves.size(); ++i) {
            if (std::isnan(plateau.level_ln[i])) continue;
            const std::size_t channel = surveyed.file_channels[i];
            double hz = 0;
            VolumeStep step;
            try {
                step = read_step(block.channel(channel), surveyed.rate, tone, half_width_hz,
                                 {job.job.volts_full_scale(take, channel), job.job.volts_full_scale_sd_db(channel)},
                                 hz);
            } catch (const Error& error) {
                if (error.kind() != ErrorKind::too_short && error.kind() != ErrorKind::invalid_input) throw;
                continue;  // too few cycles, or no line in the range: no reading of this plateau
            }
            step.number = index + 1;
            step.volume = matched.volumes[index];
            step.start_s = plateau.start_s;
            step.end_s = plateau.end_s;
            curves[i].curve.steps.push_back(step);
            knees[i].offer(step, block.channel(channel));
            found_hz[i].push_back(hz);
        }
    });

    for (std::size_t i = 0; i < curves.size(); ++i) {
        const std::size_t channel = surveyed.file_channels[i];
        curves[i].curve.knee =
            knees[i].read(surveyed.rate, search_for(tone, surveyed.rate, half_width_hz),
                          job.job.volts_full_scale(take, channel), job.job.volts_full_scale_sd_db(channel));
        curves[i].folding = knees[i].read_folding(surveyed.rate);
        auto& found = found_hz[i];
        if (found.empty()) {
            // Not the stated tone: is there another one?
            const auto where = other_tone(surveyed.tracks[i]);
            if (!where) continue;
            const auto again = open(take);
            read_spans(*again, {*where}, [&](std::size_t, const Block& block) {
                curves[i].other_tone_hz =
                    read_tone(block.channel(surveyed.file_channels[i]), surveyed.rate).frequency_hz;
            });
            continue;
        }
        const auto middle = found.begin() + static_cast<std::ptrdiff_t>(found.size() / 2);
        std::nth_element(found.begin(), middle, found.end());
        if (std::abs(*middle / tone.frequency_hz - 1.0) > kToneTolerance) curves[i].other_tone_hz = *middle;
    }
    return curves;
}

}  // namespace hushtrace
