#include <algorithm>
#include <cmath>

#include "../gain/gain_parts.hpp"
#include "../takes/clear_part.hpp"
#include "../takes/floor_reading.hpp"
#include "../takes/take_kind.hpp"
#include "../takes/take_spans.hpp"
#include "chain_parts.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {
namespace {

constexpr double kAsked_dbfs = -20.0, kNear_db = 3.0;
constexpr double kMostNoise_s = 60.0;

Reading thd_of_step(const VolumeStep& step) { return {step.thd_percent, step.thd_sd_percent, step.thd_limited_by}; }

void from_sweeps(ChainAnalysis& out, const std::vector<ReadTake>& takes) {
    for (const ReadTake& take : takes) {
        const auto* sweep = std::get_if<Sweep>(&take.of.take->tone->waveform);
        if (!sweep || std::abs(sweep->level_dbfs - kAsked_dbfs) > kNear_db) continue;
        for (ChainChannel& one : out.channels) {
            const TakePath* path = take.path(one.channel);
            if (!path || !path->sweep) continue;
            for (const double hz : {one.gain_hz, 1000.0})
                if (const auto thd = path->sweep->thd_percent(hz)) {
                    one.minus_20 = {*thd, hz, sweep->level_dbfs, take.of.take->conditions.volume, take.of.take->file};
                    break;
                }
        }
    }
}

// A steady tone reads deeper into the noise than a sweep does: it takes the sweep's place.
void from_tones(const OpenedJob& job, ChainAnalysis& out, const OpenChainTake& open) {
    for (const Take& take : job.job.takes) {
        if (!is_gain_take(take) || !take.volume_steps.empty()) continue;
        std::size_t asked = 0;
        double played_dbfs = 0;
        if (const auto* sine = std::get_if<Sine>(&take.tone->waveform)) {
            played_dbfs = sine->level_dbfs;
        } else if (const auto* stepped = std::get_if<Stepped>(&take.tone->waveform)) {
            const auto& levels = stepped->levels_dbfs;
            const auto nearest = std::min_element(levels.begin(), levels.end(), [](double a, double b) {
                return std::abs(a - kAsked_dbfs) < std::abs(b - kAsked_dbfs);
            });
            if (nearest == levels.end()) continue;
            played_dbfs = *nearest;
            asked = static_cast<std::size_t>(nearest - levels.begin());
        }
        if (std::abs(played_dbfs - kAsked_dbfs) > kNear_db) continue;
        try {
            std::vector<Warning> told_by_gain;
            for (const GainCurve& curve : read_curves(job, take, open, told_by_gain)) {
                ChainChannel* one = channel_of(out, curve.curve.channel);
                const std::size_t expected = curve.tone_is_stepped ? std::get<Stepped>(take.tone->waveform).levels_dbfs.size() : 1;
                if (!one || curve.curve.steps.size() != expected || curve.curve.steps[asked].input_overload) continue;
                one->minus_20 = {thd_of_step(curve.curve.steps[asked]), curve.curve.tone_hz, played_dbfs, take.conditions.volume, take.file};
            }
        } catch (const Error&) {
            continue;  // the gain command says what is wrong with it
        }
    }
}

void at_the_ceiling(ChainAnalysis& out, const GainAnalysis& gain) {
    out.never_clips = !gain.ceiling && gain.ceiling_reason == "never_clips";
    if (gain.ceiling) out.ceiling_volume = gain.ceiling->volume;
    if (out.never_clips)
        for (const StepCurve& curve : gain.curves)
            for (const VolumeStep& step : curve.steps)
                if (step.volume) out.ceiling_volume = std::max(out.ceiling_volume.value_or(0), *step.volume);
    if (!out.ceiling_volume) return;
    for (ChainChannel& one : out.channels) {
        const StepCurve* nearest = nullptr;
        for (const StepCurve& curve : gain.curves) {
            if (curve.channel != one.channel) continue;
            const auto octaves = [](const StepCurve& c) { return std::abs(std::log2(c.tone_hz / 1000.0)); };
            if (!nearest || octaves(curve) <= octaves(*nearest)) nearest = &curve;
        }
        if (!nearest) continue;
        for (const VolumeStep& step : nearest->steps)
            if (step.volume == out.ceiling_volume && !step.input_overload)
                one.at_ceiling = {thd_of_step(step), nearest->tone_hz, std::nullopt, step.volume, nearest->take};
    }
}

ChainNoise noise_of(const OpenedJob& job, const Take& take, std::size_t channel, const PowerSpectrum& spectrum) {
    ChainNoise out{take.file, take.conditions.engine, std::nullopt, std::nullopt};
    const Reading read = noise_floor(spectrum).all.a_weighted;
    if (!(read.value > 0)) return out;
    out.dbfs_a = as_level_dbfs(read);
    const auto volts = job.job.volts_full_scale(take, channel);
    if (!volts) return out;
    Reading squared{read.value * *volts * *volts, read.sd * *volts * *volts, read.limited_by};  // [V^2]
    const OwnNoiseField& a_weighted = kOwnNoiseFields[1];
    if (const auto own_dbv = job.job.own_noise_at_probe_dbv(a_weighted, take, channel)) {
        const double own = power_from_decibels(*own_dbv);
        squared = less_interface(squared, {own, own * (power_from_decibels(kOwnNoiseSd_db) - 1.0), {}});
    }
    const double sd_db = decibels_from_power(1.0 + squared.sd / squared.value);
    out.dbv_a = Reading{decibels_from_power(squared.value), std::hypot(sd_db, job.job.volts_full_scale_sd_db(channel).value_or(0.0)),
                        squared.limited_by};
    return out;
}

void read_noise_take(const OpenedJob& job, ChainAnalysis& out, const Take& take, const OpenChainTake& open) {
    Part clear;
    if (take.tone && take.tone->via != ToneVia::interface_output) clear = between_markers(*open(take));
    const auto whole = open(take);
    PartReader reader(*whole, clear);
    const double rate = reader.sample_rate_hz();
    const std::size_t channels = std::min(take.channels.size(), reader.channels());
    std::vector<SpectrumAccumulator> spectra;
    for (std::size_t c = 0; c < channels; ++c) spectra.emplace_back(rate, fast_length(static_cast<std::size_t>(rate / 4)));
    Block block;
    double read_s = 0;
    while (read_s < kMostNoise_s && reader.read(block, kReadFrames) > 0) {
        for (std::size_t c = 0; c < channels; ++c) spectra[c].add(block.channel(c));
        read_s += static_cast<double>(block.frames()) / rate;
    }
    for (std::size_t c = 0; c < channels; ++c) {
        ChainChannel* one = channel_of(out, take.channels[c]);
        if (!one || spectra[c].segments() == 0) continue;
        const ChainNoise found = noise_of(job, take, c, spectra[c].result());
        if (found.dbfs_a) one->noise = found;
    }
}

}  // namespace

void add_distortion(const OpenedJob& job, ChainAnalysis& out, const std::vector<ReadTake>& takes, const OpenChainTake& open,
                    const GainAnalysis* gain) {
    from_sweeps(out, takes);
    from_tones(job, out, open);
    if (gain) at_the_ceiling(out, *gain);
}

// With the engine off where there is such a take: the chain's own noise, not the vehicle's.
void add_noise(const OpenedJob& job, ChainAnalysis& out, const OpenChainTake& open) {
    for (const bool engine_turning : {true, false})
        for (const Take& take : job.job.takes) {
            if (!is_noise_at_input(take) || engine_turns(take.conditions.engine) != engine_turning) continue;
            try {
                read_noise_take(job, out, take, open);
            } catch (const Error&) {
                continue;  // the noise command warns of it
            }
        }
}

}  // namespace hushtrace
