#include <algorithm>
#include <cmath>
#include <map>

#include "chain_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kVaries_db = 1.0;     // less is a source's own tolerance
constexpr double kBass_hz = 50, kMiddle_hz = 1000, kTreble_hz = 10000;
constexpr double kHighestBass_hz = 150;
constexpr double kLeastApart_db = 3.0; // of two levels, to speak of a dependence
constexpr double kLimits_db = 0.7;     // of gain lost from soft to loud
constexpr double kClips_percent = 3.0;
constexpr double kCleanEnough_percent = 5.0;

std::optional<Reading> less(const std::optional<Reading>& a, const std::optional<Reading>& b) {
    if (!a || !b) return std::nullopt;
    return Reading{a->value - b->value, std::hypot(a->sd, b->sd)};
}

std::optional<Reading> level_at(const Transfer& transfer, double hz) {
    const auto level = octave_level(transfer, hz);
    return level ? std::optional(level->level_db) : std::nullopt;
}

/// The octave that stands for the bass: round 50 Hz, or the lowest that is there up to 150 Hz.
std::optional<double> bass_of(const Transfer& transfer) {
    if (level_at(transfer, kBass_hz)) return kBass_hz;
    for (const TransferPoint& p : transfer)
        if (p.frequency_hz <= kHighestBass_hz && level_at(transfer, p.frequency_hz)) return p.frequency_hz;
    return std::nullopt;
}

/// The channel of a take whose level at 1 kHz the others are held against: itself where it passes that.
const TakePath* middle_of(const ReadTake& take, Channel channel) {
    const auto passes = [&](const TakePath* path) {
        if (!path) return false;
        const auto level = passband_level(path->transfer);
        return level && level->centre_hz == kMiddle_hz;
    };
    if (passes(take.path(channel))) return take.path(channel);
    for (const TakePath& path : take.of.paths)
        if (passes(take.path(path.channel))) return &path;
    return nullptr;
}

void judge(VolumeDependence& one) {
    std::sort(one.points.begin(), one.points.end(), [](const VolumePoint& a, const VolumePoint& b) { return a.volume < b.volume; });
    const VolumePoint &lowest = one.points.front(), &highest = one.points.back();
    one.bass_change_db = less(highest.bass_db, lowest.bass_db);
    one.treble_change_db = less(highest.treble_db, lowest.treble_db);
    const auto varies = [&](std::optional<Reading> VolumePoint::*which) {
        for (const VolumePoint& a : one.points)
            for (const VolumePoint& b : one.points)
                if (const auto apart = less(a.*which, b.*which); apart && apart->value > kVaries_db + 4 * apart->sd) return true;
        return false;
    };
    one.bass_varies = varies(&VolumePoint::bass_db);
    one.treble_varies = varies(&VolumePoint::treble_db);
}

void by_sweeps(ChainAnalysis& out, const std::vector<ReadTake>& takes, Channel channel) {
    std::map<double, std::vector<const ReadTake*>> by_level;  // takes played alike, by level
    for (const ReadTake& take : takes) {
        const auto level = played_level_dbfs(take.of.take->tone->waveform);
        if (take.both() && take.path(channel) && take.of.take->conditions.volume && level) by_level[*level].push_back(&take);
    }
    std::optional<VolumeDependence> best;
    for (const auto& [level, played] : by_level) {
        VolumeDependence one;
        one.channel = channel;
        std::map<double, VolumePoint> points;
        std::optional<double> bass_hz;
        for (const ReadTake* take : played) {
            const TakePath *path = take->path(channel), *middle = middle_of(*take, channel);
            if (!middle) continue;
            if (!bass_hz) bass_hz = bass_of(path->transfer);
            if (!points.empty() && middle->channel != one.against) continue;
            one.against = middle->channel;
            const auto at_middle = level_at(middle->transfer, kMiddle_hz);
            VolumePoint point{*take->of.take->conditions.volume, take->of.take->file, {}, {}};
            const Reading apart{rough_difference_at_probe_db(path->probe, middle->probe), 0};  // an unknown scale drops out of the changes
            if (bass_hz) point.bass_db = plus(less(level_at(path->transfer, *bass_hz), at_middle), apart);
            point.treble_db = plus(less(level_at(path->transfer, kTreble_hz), at_middle), apart);
            if (point.bass_db || point.treble_db) points[point.volume] = point;
        }
        if (points.size() < 2 || (best && points.size() < best->points.size())) continue;
        for (const auto& [volume, point] : points) one.points.push_back(point);
        one.bass_hz = bass_hz.value_or(kBass_hz);
        one.treble_hz = kTreble_hz;
        judge(one);
        best = one;
    }
    if (best) out.volume_dependence.push_back(*best);
}

AtProbe probe_of(const Job& job, const StepCurve& curve) {
    for (const Take& take : job.takes)
        if (take.file == curve.take) return at_probe(job, take, curve.channel);
    return {};
}

void by_tones(const Job& job, ChainAnalysis& out, const GainAnalysis& gain) {
    const auto is_low = [](const StepCurve& curve) { return curve.tone_hz <= kHighestBass_hz; };
    const auto is_middle = [](const StepCurve& curve) { return curve.tone_hz >= 400 && curve.tone_hz <= 2500; };
    const auto usable = [](const VolumeStep& step) {
        return step.volume && !step.input_overload && step.thd_percent < kCleanEnough_percent;
    };
    for (const StepCurve& low : gain.curves) {
        if (!is_low(low)) continue;
        const StepCurve* middle = nullptr;
        for (const StepCurve& other : gain.curves)
            if (is_middle(other) && (!middle || other.channel == low.channel)) middle = &other;
        if (!middle) continue;
        VolumeDependence one;
        one.channel = low.channel;
        one.against = middle->channel;
        one.bass_hz = low.tone_hz;
        one.from_tones = true;
        std::map<double, VolumePoint> points;
        const double apart_db = rough_difference_at_probe_db(probe_of(job, low), probe_of(job, *middle));
        for (const VolumeStep& step : low.steps)
            for (const VolumeStep& beside : middle->steps)
                if (usable(step) && usable(beside) && *step.volume == *beside.volume)
                    points[*step.volume] = {*step.volume, low.take,
                                            Reading{step.level_dbfs - beside.level_dbfs + apart_db,
                                                    std::hypot(step.level_sd_db, beside.level_sd_db)}, {}};
        if (points.size() < 2) continue;
        for (const auto& [volume, point] : points) one.points.push_back(point);
        judge(one);
        out.volume_dependence.push_back(one);
    }
}

std::optional<Reading> bass_against_gain(const TakePath& path, double gain_hz, double bass_hz) {
    return less(level_at(path.transfer, bass_hz), level_at(path.transfer, gain_hz));
}

void hold_together(ChainAnalysis& out, const ReadTake& soft, const ReadTake& loud, const ChainChannel& channel) {
    const TakePath *a = soft.path(channel.channel), *b = loud.path(channel.channel);
    if (!a || !b) return;
    const auto before = passband_level(a->transfer);
    if (!before) return;
    const auto scales = difference_at_probe(b->probe, a->probe);
    if (!scales) return;
    const auto change = plus(less(level_at(b->transfer, before->centre_hz), before->level_db), *scales);
    if (!change) return;
    LevelDependence one;
    one.channel = channel.channel;
    one.soft_take = soft.of.take->file;
    one.loud_take = loud.of.take->file;
    one.soft_dbfs = *played_level_dbfs(soft.of.take->tone->waveform);
    one.loud_dbfs = *played_level_dbfs(loud.of.take->tone->waveform);
    one.volume = loud.of.take->conditions.volume;
    one.gain_change_db = *change;
    if (const auto bass_hz = bass_of(a->transfer); bass_hz && std::abs(std::log2(*bass_hz / before->centre_hz)) > 1)
        one.bass_change_db = less(bass_against_gain(*b, before->centre_hz, *bass_hz), bass_against_gain(*a, before->centre_hz, *bass_hz));
    if (b->sweep)
        if (const auto thd = b->sweep->thd_percent(before->centre_hz)) one.loud_thd_percent = thd->value;
    const bool loses = change->value < -kLimits_db - 4 * change->sd;
    const bool bass_loses = one.bass_change_db && one.bass_change_db->value < -kVaries_db - 4 * one.bass_change_db->sd;
    const bool clips = one.loud_thd_percent.value_or(0) > kClips_percent;
    one.kind = loses ? (clips ? "clips" : "limiter") : bass_loses ? "bass_limiter" : "straight";
    out.level_dependence.push_back(one);
}

}  // namespace

void add_volume_dependence(const Job& job, ChainAnalysis& out, const std::vector<ReadTake>& takes, const GainAnalysis* gain) {
    for (const ChainChannel& one : out.channels) by_sweeps(out, takes, one.channel);
    if (gain) by_tones(job, out, *gain);
}

void add_level_dependence(ChainAnalysis& out, const std::vector<ReadTake>& takes) {
    for (const ChainChannel& channel : out.channels) {
        const ReadTake *soft = nullptr, *loud = nullptr;  // the pair that lies furthest apart
        double most_db = kLeastApart_db;
        for (const ReadTake& a : takes)
            for (const ReadTake& b : takes) {
                const Take &one = *a.of.take, &other = *b.of.take;
                const auto level_a = played_level_dbfs(one.tone->waveform), level_b = played_level_dbfs(other.tone->waveform);
                const bool alike = alike_but_level(one, other) && one.conditions.volume;
                if (!alike || !level_a || !level_b || *level_b - *level_a < most_db) continue;
                const TakePath *softer = a.path(channel.channel), *louder = b.path(channel.channel);
                if (!softer || !louder || !difference_at_probe(louder->probe, softer->probe)) continue;
                most_db = *level_b - *level_a;
                soft = &a;
                loud = &b;
            }
        if (soft && loud) hold_together(out, *soft, *loud, channel);
    }
}

}  // namespace hushtrace
