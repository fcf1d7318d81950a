#include "entry_levels.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

/// From which level over a take's hiss a source of a kind is found, 90 % of the time (docs/noise-kinds.md), and 3 dB or more.
double found_from_db(NoiseKind kind) {
    switch (kind) {
        case NoiseKind::alternator_whine: return -22.0;
        case NoiseKind::ignition_tick: return -12.0;
        case NoiseKind::periodic_tick: return -9.0;
        case NoiseKind::converter_hash: return -15.0;
        case NoiseKind::crackle: return -20.0;
        case NoiseKind::motor_whine: return -17.0;
        case NoiseKind::bus_tone: return -28.0;
        case NoiseKind::mains_hum: return -28.0;
        default: return -24.0;
    }
}

bool has_lines(NoiseKind kind) {
    switch (kind) {
        case NoiseKind::alternator_whine:
        case NoiseKind::mains_hum:
        case NoiseKind::switched_load:
        case NoiseKind::motor_whine:
        case NoiseKind::bus_tone:
        case NoiseKind::unexplained_tone: return true;
        default: return false;
    }
}

/// How far a source's frequency may lie off from take to take.
double strays(NoiseKind kind) { return kind == NoiseKind::alternator_whine || kind == NoiseKind::motor_whine ? 0.08 : 0.01; }

/// Whether one finding's leading line may be a line of the other: a whine's speed strays from take to take.
bool in_place_of(const NoiseSource& source, const NoiseSource& other) {
    if (!source.frequency_hz || !other.frequency_hz || !has_lines(source.kind) || !has_lines(other.kind)) return false;
    const auto near = [&](double hz) { return std::abs(*other.frequency_hz / hz - 1.0) < strays(source.kind); };
    return near(*source.frequency_hz) || std::any_of(source.harmonics.begin(), source.harmonics.end(), [&](const Harmonic& one) {
               return one.frequency_hz > 0.0 && one.level_dbfs > source.level_dbfs.value_or(0.0) - 10.0 && near(one.frequency_hz);
           });
}

/// What stands over the noise where the source's strongest lines should be, in all its lines' power [full scale squared, mean square]: the source may be
/// there and not have been found, so that it lies below that and no lower.
double power_in_place(const NoiseSource& source, const ChannelSurvey& channel) {
    if (!has_lines(source.kind) || !source.level_dbfs) return 0.0;
    const Harmonic* strongest = nullptr;
    for (const Harmonic& one : source.harmonics)
        if (one.frequency_hz > 0.0 && (!strongest || one.level_dbfs > strongest->level_dbfs)) strongest = &one;
    const double hz = strongest ? strongest->frequency_hz : source.frequency_hz.value_or(0.0);
    if (!(hz > 0.0) || channel.spectrum.density.empty() || channel.floor_density.size() != channel.spectrum.density.size()) return 0.0;
    const double reach = source.kind == NoiseKind::motor_whine ? 1.0 : 0.5;   // of how far it may stray; a pump's speed is another in each take
    const std::size_t first = channel.spectrum.bin_of(hz * (1.0 - reach * strays(source.kind))),
                      last = channel.spectrum.bin_of(hz * (1.0 + reach * strays(source.kind)));
    double over = 0;
    for (std::size_t bin = first; bin <= last; ++bin) {
        constexpr double stands_out = 4.0;
        const double here = channel.spectrum.density[bin], floor = channel.floor_density[bin];
        if (here > stands_out * floor) over += (here - floor) * channel.spectrum.bin_hz();
    }
    const double share_db = strongest ? *source.level_dbfs - strongest->level_dbfs : 0.0;
    return over * std::pow(10.0, std::max(0.0, share_db) / 10.0);
}

double level_of(const LevelInTake& level) { return level.level_dbv ? *level.level_dbv : *level.level_dbfs; }

/// A line's power in one column over the noise beside it; nothing where it doesn't stand out.
double line_power(const std::vector<float>& column_dbfs, double bin_hz, double hz) {
    constexpr std::size_t half = 2, beside = 8;
    const auto at = static_cast<std::size_t>(std::max(0.0, hz / bin_hz + 0.5));
    if (at < beside + half || at + beside + half >= column_dbfs.size()) return 0.0;
    double line = 0;
    for (std::size_t b = at - half; b <= at + half; ++b) line += std::pow(10.0, column_dbfs[b] / 10.0);
    std::vector<float> floor(column_dbfs.begin() + static_cast<std::ptrdiff_t>(at - half - beside),
                             column_dbfs.begin() + static_cast<std::ptrdiff_t>(at - half));
    floor.insert(floor.end(), column_dbfs.begin() + static_cast<std::ptrdiff_t>(at + half + 1),
                 column_dbfs.begin() + static_cast<std::ptrdiff_t>(at + half + 1 + beside));
    std::nth_element(floor.begin(), floor.begin() + static_cast<std::ptrdiff_t>(floor.size() / 2), floor.end());
    const double noise = std::pow(10.0, floor[floor.size() / 2] / 10.0) * static_cast<double>(2 * half + 1);
    constexpr double stands_out = 10.0;
    return line > stands_out * noise ? line - noise : 0.0;
}

/// Level of the source in stretches of half a second [dB]; nothing in those where it doesn't stand out.
std::vector<std::optional<double>> levels_over_time(const SourceTrace& trace, const TakeSurvey& survey, const ChannelSurvey& channel) {
    constexpr double stretch_s = 0.5;
    constexpr std::size_t most_lines = 4;
    if (!(channel.column_s > 0.0) || channel.spectrogram_dbfs.empty()) return {};
    const auto each = static_cast<std::size_t>(std::max(1.0, std::round(stretch_s / channel.column_s)));
    std::vector<std::optional<double>> levels;
    for (std::size_t first = 0; first + each <= channel.spectrogram_dbfs.size(); first += each) {
        double power = 0;
        bool all = true;
        for (std::size_t c = first; c < first + each; ++c) {
            const double at_s = (static_cast<double>(c) + 0.5) * channel.column_s - (trace.from_s - survey.from_s);
            const double leading_hz = trace.track.at(at_s);
            double here = 0;
            std::size_t lines = 0;
            for (const double ratio : trace.ratios) {
                if (lines++ == most_lines) break;
                here += line_power(channel.spectrogram_dbfs[c], channel.spectrogram_bin_hz, ratio * leading_hz);
            }
            all = all && here > 0.0;
            power += here;
        }
        levels.push_back(all ? std::optional(10.0 * std::log10(power)) : std::nullopt);
    }
    return levels;
}

std::optional<double> spread(const std::vector<double>& values) {
    constexpr std::size_t fewest = 8;
    if (values.size() < fewest) return std::nullopt;
    double mean = 0, square = 0;
    for (const double one : values) mean += one / static_cast<double>(values.size());
    for (const double one : values) square += (one - mean) * (one - mean) / static_cast<double>(values.size() - 1);
    return std::sqrt(square);
}

}  // namespace

std::optional<LevelHere> level_in(const NoiseSource& source, const TakeSurvey& survey, Channel channel,
                                  const std::vector<const NoiseSource*>& others) {
    LevelHere here;
    here.survey = &survey;
    for (const LevelInTake& level : source.levels)
        if (level.take == survey.take->file && level.channel == channel && level.level_dbfs) {
            here.level_db = level_of(level);
            here.sd_db = level.sd_db;
            return here;
        }
    for (const ChannelSurvey& one : survey.channels) {
        if (one.channel != channel || one.silent || !(one.hiss.all.unweighted.value > 0.0)) continue;
        here.at_most = true;
        here.sd_db = 2.0;
        here.level_db = dbfs_from_mean_square(one.hiss.all.unweighted.value) + found_from_db(source.kind);
        if (const double there = power_in_place(source, one); there > 0.0) here.level_db = std::max(here.level_db, dbfs_from_mean_square(there));
        if (one.volts_full_scale) here.level_db = dbv_from_dbfs(here.level_db, *one.volts_full_scale);
        for (const NoiseSource* other : others) {
            if (other == &source || !in_place_of(source, *other)) continue;
            for (const LevelInTake& level : other->levels)
                if (level.take == survey.take->file && level.channel == channel && level.level_dbfs)
                    here.level_db = std::max(here.level_db, level_of(level));
        }
        return here;
    }
    return std::nullopt;
}

Channel loudest_channel(const NoiseSource& source) {
    Channel channel = Channel::left;
    double most = -1e9;
    for (const LevelInTake& level : source.levels)
        if (level.level_dbfs && *level.level_dbfs > most) {
            most = *level.level_dbfs;
            channel = level.channel;
        }
    return channel;
}

std::optional<Wander> wander_in(const SourceTrace& trace, const TakeSurvey& survey) {
    const ChannelSurvey *louder = nullptr, *other = nullptr;
    for (const ChannelSurvey& one : survey.channels) {
        if (!carries_signal(one.channel)) continue;
        (one.channel == trace.channel ? louder : other) = &one;
    }
    if (!louder || trace.ratios.empty() || trace.track.time_s.empty()) return std::nullopt;
    const auto here = levels_over_time(trace, survey, *louder);
    const auto there = other ? levels_over_time(trace, survey, *other) : std::vector<std::optional<double>>{};
    std::vector<double> alone, apart;
    for (std::size_t i = 0; i < here.size(); ++i) {
        if (here[i]) alone.push_back(*here[i]);
        if (here[i] && i < there.size() && there[i]) apart.push_back(*here[i] - *there[i]);
    }
    if (const auto sd = spread(apart)) return Wander{*sd, true};
    if (const auto sd = spread(alone)) return Wander{*sd, false};
    return std::nullopt;
}

}  // namespace hushtrace
