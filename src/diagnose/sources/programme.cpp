#include "programme.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {
namespace {

constexpr double kLoud_dbfs = -40.0, kChanging_db = 3.5;
constexpr double kToneRead_s = 1.5, kAudible = 0.003;  // -50 dBFS

/// Half of what lies between the 10 % and the 90 % quantile, in units of a normal law's standard deviation.
double robust_spread(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    const auto at = [&](double share) { return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1))]; };
    return (at(0.9) - at(0.1)) / 2.563;
}

/// Median over octave bands of how much their level changes from column to column [dB].
double change_of(const ChannelSurvey& channel) {
    std::vector<double> spreads;
    for (double from_hz = 100.0; from_hz < 7000.0; from_hz *= 2.0) {
        std::vector<double> levels;
        for (const auto& column : channel.spectrogram_dbfs) {
            const auto first = static_cast<std::size_t>(from_hz / channel.spectrogram_bin_hz);
            const auto last = std::min(column.size(), static_cast<std::size_t>(2.0 * from_hz / channel.spectrogram_bin_hz));
            double sum = 1e-20;
            for (std::size_t k = first; k < last; ++k) sum += power_from_decibels(static_cast<double>(column[k]));
            levels.push_back(decibels_from_power(sum));
        }
        if (levels.size() >= 8) spreads.push_back(robust_spread(std::move(levels)));
    }
    if (spreads.empty()) return 0.0;
    const auto middle = spreads.begin() + static_cast<std::ptrdiff_t>(spreads.size() / 2);
    std::nth_element(spreads.begin(), middle, spreads.end());
    return *middle;
}

/// What one channel showed.
struct Clipped {
    std::size_t channel = 0;
    double share = 0, level_dbfs = 0;  ///< level_dbfs: of what plays
    Reading clip_dbfs;
    std::optional<double> tone_hz;
    std::string how;
};

std::string which_sides(ClippedSides sides) {
    if (sides == ClippedSides::unequal) return ", at another level on either side";
    return sides == ClippedSides::upper || sides == ClippedSides::lower ? ", on one side alone" : "";
}

std::optional<Clipped> clipped_tone(std::span<const double> samples, double rate, std::size_t channel) {
    try {
        const ToneClipping tone = read_tone_clipping(samples, rate);
        if (!tone.clips() || tone.kind == ClippingKind::input_overload) return std::nullopt;
        if (tone.tone.amplitude < kAudible) return std::nullopt;
        Clipped out{channel, tone.clipped_share, tone.tone.level_dbfs, *tone.knee_dbfs, tone.tone.frequency_hz, ""};
        out.how = tone.kind == ClippingKind::slew
                      ? fmt::format("The tone turns triangular: what plays it can't follow its steepness; it is {:.1f} dB "
                                    "past where that starts.",
                                    tone.drive_db->value)
                      : fmt::format("The tone runs {}into a rail{}, {:.1f} dB past where it starts.",
                                    tone.kind == ClippingKind::soft ? "softly " : "", which_sides(tone.sides),
                                    tone.drive_db->value);
        return out;
    } catch (const Error& error) {
        if (error.kind() == ErrorKind::not_finite) throw;
        return std::nullopt;  // no tone that can be judged
    }
}

std::vector<Clipped> look(const OpenedJob& job, const Take& take) {
    TakeReader reader(take_path(job, take));
    const double rate = reader.sample_rate_hz();
    std::vector<ProgrammeClippingFinder> finders;
    std::vector<double> squares(reader.channels());
    for (std::size_t c = 0; c < reader.channels(); ++c) finders.emplace_back(rate);
    const std::uint64_t middle = reader.promised_frames().value_or(static_cast<std::uint64_t>(2.0 * rate)) / 2;
    const auto half = static_cast<std::uint64_t>(0.5 * kToneRead_s * rate);
    std::vector<std::vector<double>> stretch(reader.channels());
    std::uint64_t at = 0;
    Block block;
    while (reader.read(block, std::size_t{1} << 16U) > 0) {
        for (std::size_t c = 0; c < reader.channels(); ++c) {
            const auto samples = block.channel(c);
            if (!take.tone) finders[c].add(samples);
            for (std::size_t n = 0; n < samples.size(); ++n) {
                squares[c] += samples[n] * samples[n];
                if (at + n + half >= middle && at + n < middle + half) stretch[c].push_back(samples[n]);
            }
        }
        at += block.frames();
    }
    std::vector<Clipped> found;
    for (std::size_t c = 0; c < std::min(take.channels.size(), stretch.size()); ++c) {
        if (!carries_signal(take.channels[c]) || squares[c] == 0.0) continue;
        if (take.tone) {
            if (auto one = clipped_tone(stretch[c], rate, c)) found.push_back(*one);
            continue;
        }
        try {
            const ProgrammeClipping music = finders[c].result();
            if (!music.clips) continue;
            Clipped one{c, music.clipped_share, dbfs_from_mean_square(squares[c] / static_cast<double>(at)),
                        *music.clip_level_dbfs, std::nullopt, ""};
            one.how = fmt::format("{} of the {} highest peaks are cut{}: the wave breaks where music would go on.",
                                  music.peaks_cut, music.peaks_seen, which_sides(music.sides));
            found.push_back(one);
        } catch (const Error&) {
            continue;  // too short, silent: nothing to judge
        }
    }
    return found;
}

}  // namespace

bool holds_programme(const TakeSurvey& survey) {
    return std::any_of(survey.channels.begin(), survey.channels.end(), [](const ChannelSurvey& channel) {
        return !channel.silent && carries_signal(channel.channel) &&
               as_level_dbfs(channel.floor.all.unweighted).value > kLoud_dbfs && change_of(channel) > kChanging_db;
    });
}

bool is_held_tone(const Take& take) {
    return take.tone && std::holds_alternative<Sine>(take.tone->waveform) && take.volume_steps.empty();
}

void add_clipping(std::list<NoiseSource>& sources, const OpenedJob& job, const Take& take) {
    const std::vector<Clipped> found = look(job, take);
    if (found.empty()) return;
    NoiseSource source;
    source.kind = NoiseKind::clipping;
    source.takes = {take.file};
    source.confidence = 0.95;
    const Clipped* worst = &found.front();
    for (const Clipped& one : found) {
        LevelInTake level;
        level.take = take.file;
        level.channel = take.channels[one.channel];
        level.level_dbfs = one.level_dbfs;
        const auto volts = job.job.volts_full_scale(take, one.channel);
        if (volts) level.level_dbv = dbv_from_dbfs(one.level_dbfs, *volts);
        level.sd_db = 0.1;
        source.levels.push_back(level);
        source.channels.push_back(level.channel);
        if (!source.level_dbfs || *level.level_dbfs > *source.level_dbfs) {
            source.level_dbfs = level.level_dbfs;
            source.level_dbv = level.level_dbv;
        }
        if (one.share > worst->share) worst = &one;
        const double shown = volts ? dbv_from_dbfs(one.clip_dbfs.value, *volts) : one.clip_dbfs.value;
        source.evidence.push_back({fmt::format("{}: {} A sine would touch the limit at {}.", to_word(level.channel), one.how,
                                               volts ? fmt::format("{:.3g} V", volts_from_dbv(shown))
                                                     : fmt::format("{:.1f} dBFS", shown)),
                                   shown, volts ? "dBV" : "dBFS", one.clip_dbfs.sd, {take.file}, {}});
    }
    source.clipped_share = worst->share;
    source.clip_level_dbfs = worst->clip_dbfs.value;
    source.frequency_hz = worst->tone_hz;
    sources.push_back(std::move(source));
}

}  // namespace hushtrace
