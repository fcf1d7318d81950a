#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "floor_record_parts.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kReference_hz = 1000.0;
constexpr double kSameLine_hz = 1.5;         // the spectrum's bins are about 1 Hz
constexpr double kSameLine = 0.002;          // relative, of what holds still
constexpr double kWanders = 0.01;            // relative, of what wanders: a mean over the take and one over the track
constexpr double kBeside = 0.03, kSidebandBelow_db = 6.0;   // how near a sideband stands, and how far below its line at least: ours, no source
constexpr double kNotHiss_db = 12.0;         // over what was found to be hiss, itself a band of the whole: ours, no source
constexpr double kInterfaceRepeats_db = 3.0; // a line of the set-up's own lies within this of what its take shows: ours, no source

double tone_dbfs_of(const Take& take) {
    const Sine* sine = take.tone ? std::get_if<Sine>(&take.tone->waveform) : nullptr;
    return sine ? sine->level_dbfs : 0.0;
}

/// The step that stands for the ceiling: at the volume that ends the job's range where it was played, else the curve's own; of a
/// source that never clips the loudest clean one.
const VolumeStep* ceiling_step(const StepCurve& curve, const GainAnalysis& gain) {
    if (gain.ceiling && gain.ceiling->volume)
        for (const VolumeStep& step : curve.steps)
            if (step.volume == gain.ceiling->volume && !step.input_overload) return &step;
    if (curve.ceiling)
        for (const VolumeStep& step : curve.steps)
            if (step.number == curve.ceiling->step) return &step;
    if (curve.ceiling_reason != "never_clips") return nullptr;
    const VolumeStep* loudest = nullptr;
    for (const VolumeStep& step : curve.steps)
        if (!step.input_overload && step.thd_percent <= gain.limit_thd_percent && (!loudest || step.level_dbfs > loudest->level_dbfs))
            loudest = &step;
    return loudest;
}

struct Chosen {
    const StepCurve* curve = nullptr;
    const VolumeStep* step = nullptr;
    const Take* take = nullptr;
};

/// Of the channel's curves with a ceiling the one whose tone lies nearest to 1 kHz.
Chosen choose_curve(const FloorCase& the, Channel channel) {
    Chosen best;
    double nearest = std::numeric_limits<double>::infinity();
    if (!the.gain || !the.gain->ceiling_usable()) return best;
    const auto has_converter = [](const AmplifierData& one) { return one.converter.has_value(); };
    const bool converted = std::any_of(the.job.amplifiers.begin(), the.job.amplifiers.end(), has_converter);
    for (const StepCurve& curve : the.gain->curves) {
        const Take* take = take_of(the.job, curve.take);
        if (curve.channel != channel || !take || take->conditions.point == Point::amp_output) continue;
        if (take->conditions.point == Point::source_output && converted) continue;
        const auto &here = the.take.conditions.at_amplifier, &there = take->conditions.at_amplifier;
        if (here && there && *here != *there) continue;
        const VolumeStep* step = ceiling_step(curve, *the.gain);
        const double away = std::abs(std::log(std::max(1.0, curve.tone_hz) / kReference_hz));
        if (!step || away >= nearest) continue;
        nearest = away;
        best = {&curve, step, take};
    }
    return best;
}

struct Held {
    double db = 0, sd_db = 0;
    bool calibrated = false, same_scale = true;
};
/// The ceiling's level on the same terms as the floor's.
Held hold(const FloorCase& the, const Chosen& chosen) {
    const auto place = file_place_of(*chosen.take, chosen.curve->channel);
    const auto referred = the.job.referred_to_probe(*chosen.take, place.value_or(the.file_channel));
    return {chosen.step->level_dbfs + referred.offset_db, chosen.step->level_sd_db, referred.calibrated, place == the.file_channel};
}

std::optional<FloorRatio> below(const std::optional<HeldLevel>& floor, const Held& ceiling, const FloorCeiling& told, double other_scales_sd_db) {
    if (!floor) return std::nullopt;
    const bool hidden = floor->limited_by == LimitedBy::interface || floor->limited_by == LimitedBy::noise;
    const double sd = std::hypot(std::hypot(floor->sd_db, ceiling.sd_db), other_scales_sd_db);
    return FloorRatio{{ceiling.db - floor->db, sd, floor->limited_by}, hidden || told.never_clips};
}

/// Lines of a noise source in a take: from its track there, and what is told of it.
std::vector<double> lines_in(const NoiseSource& source, const std::string& take, const NoiseAnalysis& noise) {
    std::vector<double> lines_hz;
    for (const SourceTrace& trace : noise.traces) {
        if (trace.source_id != source.id || trace.take != take || trace.track.frequency_hz.empty()) continue;
        double mean_hz = 0;
        for (const double f : trace.track.frequency_hz) mean_hz += f;
        mean_hz /= static_cast<double>(trace.track.frequency_hz.size());
        for (const double ratio : trace.ratios) lines_hz.push_back(mean_hz * ratio);
        if (trace.ratios.empty())  // clicks: a comb
            for (int k = 1; k <= 40; ++k) lines_hz.push_back(mean_hz * k);
    }
    if (!lines_hz.empty()) return lines_hz;
    const LevelInTake* loudest = loudest_level(source);
    if (loudest && loudest->take == take)
        for (const Harmonic& one : source.harmonics) lines_hz.push_back(one.frequency_hz);
    return lines_hz;
}

bool is_in(const NoiseSource& source, const std::string& take) {
    return std::find(source.takes.begin(), source.takes.end(), take) != source.takes.end();
}

std::string named(const NoiseSource& source, double line_hz) {
    std::string name(plain_name(source.kind));
    const double base_hz = source.frequency_hz.value_or(0.0);
    if (source.kind == NoiseKind::alternator_whine || !(base_hz > 0)) return name;
    const double number = std::round(line_hz / base_hz);
    if (number < 2 || std::abs(line_hz / base_hz - number) > 0.02) return name;
    return fmt::format("{}, {:.0f} times {:.3g} Hz", name, number, base_hz);
}

void name_line(FloorLine& line, const std::string& take, const NoiseAnalysis& noise) {
    double nearest = std::numeric_limits<double>::infinity();
    line.name = "not named";
    for (const NoiseSource& source : noise.noise_sources) {
        if (!is_in(source, take)) continue;
        for (const double f : lines_in(source, take, noise)) {
            const double away = std::abs(f - line.frequency_hz);
            if (away > std::max(kSameLine_hz, (line.wanders ? kWanders : kSameLine) * f) || away >= nearest) continue;
            nearest = away;
            line.source_id = source.id;
            line.name = named(source, line.frequency_hz);
        }
    }
}

/// What wanders close beside a louder line that has a name moves with it: its sidebands, by the engine's firing or a load.
void name_sidebands(std::vector<FloorLine>& lines) {
    for (FloorLine& line : lines)
        for (const FloorLine& other : lines) {
            if (!line.source_id.empty() || !line.wanders || line.dbfs.limited_by == LimitedBy::interface) break;
            if (other.source_id.empty() || !other.wanders || std::abs(line.frequency_hz / other.frequency_hz - 1.0) > kBeside) continue;
            if (line.dbfs.value > other.dbfs.value - kSidebandBelow_db) continue;
            line.name = "beside the " + other.name;
            line.source_id = other.source_id;
        }
}

/// The same line in a take with the inputs shorted: it is made by the set-up.
bool is_of_the_set_up(const FloorCase& the, Channel channel, const FloorLine& line) {
    for (const FloorReading& own : the.noise.floor) {
        const Take* take = take_of(the.job, own.take);
        if (own.channel != channel || !take || !take->conditions.has(Hookup::inputs_shorted)) continue;
        for (const FloorTone& tone : own.tones)
            if (std::abs(tone.frequency_hz - line.frequency_hz) < kSameLine_hz && tone.dbfs.value > line.dbfs.value - kInterfaceRepeats_db)
                return true;
    }
    return false;
}

void add_lines(const FloorCase& the, ChannelFloor& channel) {
    for (const FloorTone& tone : channel.floor.tones) {
        FloorLine line;
        line.frequency_hz = tone.frequency_hz;
        line.wanders = tone.wanders;
        line.dbfs = tone.dbfs;
        line.dbv = tone.dbv;
        if (is_of_the_set_up(the, channel.channel, line)) {
            line.name = "the measuring set-up's own";
            line.dbfs.limited_by = LimitedBy::interface;
            if (line.dbv) line.dbv->limited_by = LimitedBy::interface;
        } else {
            name_line(line, channel.floor.take, the.noise);
        }
        channel.lines.push_back(std::move(line));
    }
    name_sidebands(channel.lines);
}

void note_volumes(const FloorCase& the, const FloorCeiling& ceiling, ChannelFloor& channel) {
    const auto& volume = the.take.conditions.volume;
    if (ceiling.never_clips)
        channel.notes.emplace_back(
            "the source never clipped: the ratios hold against the loudest that was played, and are more against its true ceiling");
    if (std::abs(ceiling.tone_dbfs) > 0.05)
        channel.notes.push_back(fmt::format("held against a tone of {:g} dBFS, as it was played", ceiling.tone_dbfs));
    if (volume && ceiling.volume && *volume != *ceiling.volume)
        channel.notes.push_back(fmt::format("the floor was taken at volume {:g}, the ceiling lies at {:g}: what goes with the volume is {} there",
                                            *volume, *ceiling.volume, *volume < *ceiling.volume ? "louder" : "quieter"));
}

}  // namespace

double scale_sd_db(const FloorCase& the) { return the.job.volts_full_scale_sd_db(the.file_channel).value_or(0.0); }

std::optional<HeldLevel> held(const FloorCase& the, const std::optional<Reading>& dbfs, const std::optional<Reading>& dbv) {
    if (dbv) {
        const double scale = scale_sd_db(the);
        return HeldLevel{dbv->value, std::sqrt(std::max(0.0, dbv->sd * dbv->sd - scale * scale)), dbv->limited_by};
    }
    if (!dbfs) return std::nullopt;
    return HeldLevel{dbfs->value + the.job.referred_to_probe(the.take, the.file_channel).offset_db, dbfs->sd, dbfs->limited_by};
}

std::optional<HeldLevel> held_hiss(const FloorCase& the, const FloorReading& floor) {
    auto level = held(the, floor.broadband_a_weighted);
    if (!level || level->limited_by == LimitedBy::interface || !floor.broadband.dbfs) return level;
    for (const NoiseSource& source : the.noise.noise_sources)
        for (const LevelInTake& one : source.levels)
            if (source.kind == NoiseKind::hiss && one.take == floor.take && one.channel == floor.channel && one.level_dbfs &&
                floor.broadband.dbfs->value > *one.level_dbfs + kNotHiss_db)
                level->limited_by = LimitedBy::noise;
    return level;
}

void hold_to_ceiling(const FloorCase& the, ChannelFloor& channel) {
    add_lines(the, channel);
    if (channel.floor.third_octaves.empty()) {
        channel.notes.emplace_back("digital silence: no sound came in; check the lead and the interface's input");
        return;
    }
    const Chosen chosen = choose_curve(the, channel.channel);
    if (!chosen.curve) return;
    FloorCeiling told;
    told.take = chosen.curve->take;
    told.volume = chosen.step->volume;
    told.tone_hz = chosen.curve->tone_hz;
    told.tone_dbfs = tone_dbfs_of(*chosen.take);
    told.level_dbfs = chosen.step->level_dbfs;
    told.level_sd_db = chosen.step->level_sd_db;
    told.level_v = chosen.step->level_v;
    told.never_clips = !the.gain->ceiling && !chosen.curve->ceiling;
    const Held ceiling = hold(the, chosen);
    const bool in_volts = channel.floor.unweighted.dbv.has_value();
    channel.ceiling = told;
    if (in_volts != ceiling.calibrated || (!in_volts && !ceiling.same_scale)) {
        channel.notes.emplace_back("the floor and the ceiling were captured at inputs that aren't calibrated alike, so no ratio is told");
        return;
    }
    // the scale cancels between two readings of one input
    const double other_sd_db = the.job.volts_full_scale_sd_db(file_place_of(*chosen.take, channel.channel).value_or(the.file_channel)).value_or(0.0);
    const double scales_sd_db = ceiling.same_scale ? 0.0 : std::hypot(scale_sd_db(the), other_sd_db);
    channel.signal_to_noise_db = below(held(the, channel.floor.unweighted), ceiling, told, scales_sd_db);
    channel.signal_to_noise_a_db = below(held(the, channel.floor.a_weighted), ceiling, told, scales_sd_db);
    channel.dynamic_range_a_db = below(held_hiss(the, channel.floor), ceiling, told, scales_sd_db);
    for (FloorLine& line : channel.lines) line.below_ceiling_db = below(held(the, line.dbfs, line.dbv), ceiling, told, scales_sd_db);
    note_volumes(the, told, channel);
    if (channel.dynamic_range_a_db && channel.dynamic_range_a_db->db.limited_by == LimitedBy::noise)
        channel.notes.emplace_back(
            "something that wanders was not followed in this take, and its foot is in the noise without lines: the hiss is less");
}

}  // namespace hushtrace
