#include "source_loudness.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../takes/channel_sides.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/hearing.hpp"

namespace hushtrace {
namespace {

bool has_sound(const NoiseSource& source) {
    return source.kind != NoiseKind::heard_only && source.kind != NoiseKind::clipping;
}
bool is_of_lines(const NoiseSource& source) {
    return source.frequency_hz && source.kind != NoiseKind::hiss && source.kind != NoiseKind::crackle &&
           source.kind != NoiseKind::ignition_tick && source.kind != NoiseKind::periodic_tick;
}

/// Lines of a source in its loudest take, (frequency, level against the whole source's). What the harmonics leave of the
/// whole stands at the source's own frequency.
std::vector<std::pair<double, double>> lines_of(const NoiseSource& source) {
    std::vector<std::pair<double, double>> lines;
    double told = 0;
    for (const Harmonic& one : source.harmonics) {
        const double against_db = std::min(0.0, one.level_dbfs - *source.level_dbfs);
        lines.emplace_back(one.frequency_hz, against_db);
        told += power_from_decibels(against_db);
    }
    if (told < 0.9 && source.frequency_hz) {
        const bool there = std::any_of(lines.begin(), lines.end(), [&](const auto& line) {
            return std::abs(line.first - *source.frequency_hz) < 0.001 * *source.frequency_hz;
        });
        if (!there) lines.emplace_back(*source.frequency_hz, decibels_from_power(1.0 - told));
    }
    return lines;
}

const TakeSurvey* survey_of(const std::list<TakeSurvey>& surveys, const std::string& take) {
    for (const TakeSurvey& survey : surveys)
        if (survey.take->file == take) return &survey;
    return nullptr;
}
const ChannelSurvey* channel_of(const TakeSurvey& survey, Channel channel) {
    for (const ChannelSurvey& one : survey.channels)
        if (one.channel == channel) return &one;
    return nullptr;
}

/// Density of the noise under a line [full scale squared per hertz].
double floor_at(const ChannelSurvey& channel, double frequency_hz) {
    return channel.floor_density.empty() ? 0.0 : channel.floor_density[channel.spectrum.bin_of(frequency_hz)];
}

const LevelInTake* level_in(const NoiseSource& source, const std::string& take, Channel channel) {
    for (const LevelInTake& level : source.levels)
        if (level.take == take && level.channel == channel && level.level_dbfs) return &level;
    return nullptr;
}

struct Sides {
    double difference_db = 0, sd_db = 0;  ///< the louder one's over the other's
    bool at_least = false;                ///< the other one shows nothing of it
    bool volts = false;
};

/// The louder channel against its twin; nothing where there is none, or it is silent.
std::optional<Sides> sides_of(const NoiseSource& source, const LevelInTake& loud, const TakeSurvey& survey) {
    const auto twin = other_side(loud.channel);
    const ChannelSurvey* there = twin ? channel_of(survey, *twin) : nullptr;
    const ChannelSurvey* here = channel_of(survey, loud.channel);
    if (!there || !here || there->silent) return std::nullopt;
    Sides sides;
    sides.volts = here->volts_full_scale && there->volts_full_scale;
    const double scale_db = sides.volts ? decibels_from_amplitude(*here->volts_full_scale / *there->volts_full_scale) : 0.0;
    const double scale_sd_db = sides.volts ? std::hypot(here->volts_full_scale_sd_db.value_or(0.0),
                                                        there->volts_full_scale_sd_db.value_or(0.0))
                                           : 0.0;
    if (const LevelInTake* other = level_in(source, loud.take, *twin)) {
        sides.difference_db = *loud.level_dbfs - *other->level_dbfs + scale_db;
        sides.sd_db = std::hypot(std::hypot(loud.sd_db, other->sd_db), scale_sd_db);
        return sides;
    }
    if (!is_of_lines(source)) return std::nullopt;
    double most = 0;  // that could hide there: a line must stand out of four bins of noise
    for (const auto& [frequency_hz, against_db] : lines_of(source))
        most += 4.0 * there->spectrum.bin_hz() * floor_at(*there, frequency_hz);
    if (!(most > 0.0)) return std::nullopt;
    sides.difference_db = *loud.level_dbfs - dbfs_from_mean_square(most) + scale_db;
    sides.sd_db = loud.sd_db;
    sides.at_least = true;
    return sides;
}

}  // namespace

void measure_loudness(const std::list<TakeSurvey>& surveys, NoiseAnalysis& analysis) {
    for (NoiseSource& source : analysis.noise_sources) {
        const LevelInTake* level = loudest_level(source);
        if (!level || !level->level_dbfs || !has_sound(source)) continue;
        Loudness loudness;
        loudness.take = level->take;
        loudness.channel = level->channel;
        loudness.level_dbv = level->level_dbv;
        loudness.sd_db = level->dbv_sd_db.value_or(level->sd_db);
        loudness.limited_by = level->limited_by;
        const TakeSurvey* survey = survey_of(surveys, level->take);
        if (survey) loudness.engine = survey->take->conditions.engine;
        if (source.level_dbfs && is_of_lines(source)) {
            loudness.lines = lines_of(source);
            const ChannelSurvey* channel = survey ? channel_of(*survey, level->channel) : nullptr;
            for (const auto& [frequency_hz, against_db] : loudness.lines) {
                const double in_filter = channel ? floor_at(*channel, frequency_hz) * erb_hz(frequency_hz) : 0.0;
                if (!(in_filter > 0.0)) continue;
                const double over_db = *level->level_dbfs + against_db - dbfs_from_mean_square(in_filter);
                loudness.over_floor_db = std::max(over_db, loudness.over_floor_db.value_or(over_db));
            }
        }
        source.loudness = std::move(loudness);
    }
}

void add_side_evidence(const std::list<TakeSurvey>& surveys, NoiseAnalysis& analysis) {
    for (NoiseSource& source : analysis.noise_sources) {
        const LevelInTake* loud = loudest_level(source);
        if (!loud || !loud->level_dbfs || !has_sound(source)) continue;
        const TakeSurvey* survey = survey_of(surveys, loud->take);
        const auto sides = survey ? sides_of(source, *loud, *survey) : std::nullopt;
        if (!sides) continue;
        const double likely_db = 2.0 * sides->sd_db;
        // two knobs that nobody measured may stand apart by several decibels (common practice, no source)
        const double limit_db = std::max(sides->volts ? 1.5 : 6.0, likely_db);
        const std::string louder = spaced(to_word(loud->channel)), other = spaced(to_word(*other_side(loud->channel)));
        const bool apart = sides->difference_db > limit_db, lone = sides->at_least || sides->difference_db > 15.0;
        if (!apart && sides->at_least) continue;  // too weak to tell
        const char* unsure = sides->volts ? "" : " (as captured; the two inputs aren't calibrated)";
        std::string text;
        if (apart)
            text = fmt::format("On the {} it is {}{:.0f} dB louder than {}{}: {} lead, its plugs or that channel of source or "
                               "interface; what reaches both leads (ground loop, source's supply) would show in both.",
                               louder, sides->at_least ? "at least " : "", sides->difference_db, other, unsure,
                               lone ? "that speaks for the " + louder : "that leans towards the " + louder);
        else
            text = fmt::format("Left and right carry it alike, within {:.0f} dB{}: that speaks for what both leads share (ground "
                               "loop, source's supply), against one lead, plug or channel.",
                               std::ceil(std::max(1.0, sides->difference_db)), unsure);
        if (source.kind == NoiseKind::hiss && !apart) continue;  // nobody asks
        const std::size_t at = apart ? std::min<std::size_t>(1, source.evidence.size()) : source.evidence.size();
        source.evidence.insert(source.evidence.begin() + static_cast<std::ptrdiff_t>(at),
                               {text, sides->difference_db, "dB", sides->sd_db, {loud->take}, {}});
    }
}

}  // namespace hushtrace
