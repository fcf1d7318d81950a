#include "probe_twin.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "entry_conditions.hpp"
#include "hushtrace/measure/tracked_power.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {
namespace {

constexpr double kLongest_s = 60.0;
constexpr double kRail = 0.999;        // |sample| from which a converter is at its end
constexpr double kSpeedsApart = 0.03;  // share by which two takes at one speed may differ
constexpr double kBandSd_db = 1.0;     // of a change over bands that are all its own (judged)
constexpr double kLeastOwn = 0.15;     // share of a band's power: below, another source's lines decide it
constexpr double kStands_sd = 4.0;

/// The power in all that a trace's lines pass through [volts squared or full scale squared]; nothing where that is silent.
std::optional<double> power_where(const SourceTrace& trace, const TakeSurvey& survey, Channel channel) {
    const auto [low, high] = std::minmax_element(trace.track.frequency_hz.begin(), trace.track.frequency_hz.end());
    for (const ChannelSurvey& one : survey.channels) {
        if (one.channel != channel || one.silent) continue;
        double sum = 0, reached_hz = 0;  // bands of neighbouring lines overlap in a sweep
        for (const double ratio : trace.ratios) {
            const double from_hz = std::max(reached_hz, ratio * *low * (1.0 - kSpeedsApart)),
                         to_hz = std::min(ratio * *high * (1.0 + kSpeedsApart), 0.49 * survey.sample_rate_hz);
            if (to_hz <= from_hz) continue;
            sum += one.spectrum.band_mean_square(from_hz, to_hz);
            reached_hz = to_hz;
        }
        if (sum > 0.0) return sum;
    }
    return std::nullopt;
}

/// Of a power, what the source itself makes up in that take.
double own_share(const NoiseSource& source, const std::string& take, Channel channel, double mean_square) {
    for (const LevelInTake& one : source.levels)
        if (one.take == take && one.channel == channel && one.level_dbfs) return mean_square_from_dbfs(*one.level_dbfs) / mean_square;
    return 0.0;
}

std::optional<Reading> power_on_line(const ProbeSound& sound, std::size_t channel, const SourceTrace& trace, double ratio) {
    try {
        const Reading power = power_along(sound.channels[channel], sound.rate, trace.track, ratio, 0.1).mean_square;
        return power.value > kStands_sd * power.sd ? std::optional(power) : std::nullopt;
    } catch (const Error&) {
        return std::nullopt;  // above the band, or too short
    }
}

/// Over the lines that stand in both.
std::optional<Reading> change_on_lines(const SourceTrace& a, const ProbeSound& of_a, std::size_t in_a, const SourceTrace& b,
                                       const ProbeSound& of_b, std::size_t in_b) {
    double sum_a = 0, sum_b = 0, squares_a = 0, squares_b = 0;
    for (const double ratio : a.ratios) {
        const double wanted_hz = ratio * a.track.mean_hz();
        const auto nearest = std::min_element(b.ratios.begin(), b.ratios.end(), [&](double x, double y) {
            return std::abs(x * b.track.mean_hz() - wanted_hz) < std::abs(y * b.track.mean_hz() - wanted_hz);
        });
        if (nearest == b.ratios.end() || std::abs(*nearest * b.track.mean_hz() / wanted_hz - 1.0) > kSpeedsApart) continue;
        const auto here = power_on_line(of_a, in_a, a, ratio), there = power_on_line(of_b, in_b, b, *nearest);
        if (!here || !there) continue;
        sum_a += here->value;
        sum_b += there->value;
        squares_a += here->sd * here->sd;
        squares_b += there->sd * there->sd;
    }
    if (!(sum_a > 0.0) || !(sum_b > 0.0)) return std::nullopt;
    const double relative = std::hypot(std::sqrt(squares_a) / sum_a, std::sqrt(squares_b) / sum_b);
    return Reading{decibels_from_power(sum_a / sum_b), 4.343 * relative, LimitedBy::nothing};
}

}  // namespace

bool is_supply(Channel channel) { return !carries_signal(channel); }

std::optional<std::size_t> place_of(const Take& take, Channel channel) {
    const auto at = std::find(take.channels.begin(), take.channels.end(), channel);
    return at == take.channels.end() ? std::nullopt : std::optional(static_cast<std::size_t>(at - take.channels.begin()));
}

bool ProbeSound::silent(std::size_t c) const {
    if (channels[c].empty()) return true;
    const auto [low, high] = std::minmax_element(channels[c].begin(), channels[c].end());
    return !(*high - *low > 0x1p-22);  // two steps of a 24-bit file: no more than rounding
}

bool ProbeSound::clipped(std::size_t c) const {
    const auto& x = channels[c];
    for (std::size_t n = 1; n < x.size(); ++n)
        if (std::abs(x[n]) >= kRail && std::abs(x[n - 1]) >= kRail) return true;
    return false;
}

ProbeSound read_probe_sound(const OpenedJob& job, const Take& take, const TakeSurvey* survey) {
    TakeReader reader(take_path(job, take));
    ProbeSound sound;
    sound.rate = reader.sample_rate_hz();
    if (reader.channels() != take.channels.size())
        throw Error(ErrorKind::invalid_input, fmt::format("{}: the file's channels aren't those of job.json", take.file));
    sound.channels.resize(reader.channels());
    auto skip = static_cast<std::size_t>(std::llround(survey ? survey->from_s * sound.rate : 0.0));
    const auto most = static_cast<std::size_t>(std::min(kLongest_s, survey ? survey->duration_s : kLongest_s) * sound.rate);
    Block block;
    while (sound.channels.front().size() < most && reader.read(block, 1 << 16) > 0) {
        const std::size_t from = std::min(skip, block.frames()), count = std::min(block.frames() - from, most - sound.channels.front().size());
        skip -= from;
        for (std::size_t c = 0; c < sound.channels.size(); ++c) {
            const auto part = block.channel(c).subspan(from, count);
            sound.channels[c].insert(sound.channels[c].end(), part.begin(), part.end());
        }
    }
    return sound;
}

bool is_twin_of_probe(const Take& probe, const Take& other, Channel signal) {
    const Conditions &a = probe.conditions, &b = other.conditions;
    return std::all_of(other.channels.begin(), other.channels.end(), carries_signal) && place_of(other, signal) &&
           probe.after_change == other.after_change && same_speed(a, b) && hookups_of(a) == hookups_of(b) && a.source == b.source &&
           a.input == b.input && a.volume == b.volume && a.attached == b.attached && a.laptop == b.laptop && a.point == b.point &&
           a.amplifier == b.amplifier && sorted(a.loads) == sorted(b.loads);
}

double takes_repeat_db(const Take& take) { return take.conditions.engine == Engine::idle ? 4.0 : 2.0; }

std::optional<Reading> change_by_probe(const NoiseSource& source, const SourceTrace& trace, TakeAndSound with, TakeAndSound without,
                                       Channel signal, const NoiseAnalysis& analysis, const OpenedJob& job) {
    const Take &a = *with.survey->take, &b = *without.survey->take;
    const auto in_a = place_of(a, signal), in_b = place_of(b, signal);
    if (!in_a || !in_b) return std::nullopt;
    const auto volts_a = job.job.volts_full_scale(a, *in_a), volts_b = job.job.volts_full_scale(b, *in_b);
    const double scale_db = volts_a && volts_b ? 20.0 * std::log10(*volts_a / *volts_b) : 0.0;
    std::optional<Reading> change;
    const auto there = std::find_if(analysis.traces.begin(), analysis.traces.end(),
                                    [&](const SourceTrace& one) { return one.source_id == source.id && one.take == b.file && !one.track.empty(); });
    // of a sweep not all lines are followed through all of it alike
    if (there != analysis.traces.end() && a.conditions.engine != Engine::sweep) {
        const ProbeSound sound_a = with.sound ? ProbeSound{} : read_probe_sound(job, a, with.survey);
        const ProbeSound sound_b = without.sound ? ProbeSound{} : read_probe_sound(job, b, without.survey);
        change = change_on_lines(trace, with.sound ? *with.sound : sound_a, *in_a, *there, without.sound ? *without.sound : sound_b, *in_b);
    }
    if (!change) {
        const auto here = power_where(trace, *with.survey, signal), other = power_where(trace, *without.survey, signal);
        const double share = here ? own_share(source, a.file, signal, *here) : 0.0;
        if (here && other && share > kLeastOwn)
            change = Reading{decibels_from_power(*here / *other), kBandSd_db / std::min(1.0, share), LimitedBy::nothing};
    }
    if (change) change->value += scale_db;
    return change;
}

}  // namespace hushtrace
