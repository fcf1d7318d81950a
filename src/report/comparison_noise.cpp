#include <fmt/format.h>

#include <map>
#include <set>

#include "comparison_match.hpp"
#include "comparison_parts.hpp"
#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace::comparison {
namespace {

constexpr double kSamePlace = 0.005;  // a frequency that moved by less is told once
constexpr double kCounts_db = 20;     // lines so far below a family's strongest don't hide or show it

/// Whether nothing was playing that isn't noise.
bool is_quiet(const TakeGroup& group) { return !group.first().tone || std::holds_alternative<NearSilence>(group.first().tone->waveform); }

std::string name_of(const RecordedSource& source) {
    std::string name = spaced(clean_text(source.kind));
    for (int k = 0; k <= static_cast<int>(NoiseKind::heard_only); ++k)
        if (to_word(static_cast<NoiseKind>(k)) == source.kind) name = plain_name(static_cast<NoiseKind>(k));
    if (!name.empty() && name[0] >= 'a' && name[0] <= 'z') name[0] = static_cast<char>(name[0] - 'a' + 'A');
    return name;
}

std::string headline_of(const SourceMatch& match) {
    const RecordedSource& told = match.after ? *match.after : *match.before;
    std::string text = name_of(told);
    const bool hiss = told.kind == "hiss" || told.kind == "crackle";
    if (follows_engine(told) && told.engine_order) return text + fmt::format(" (engine order {})", figures_text(*told.engine_order, 3));
    if (match.before && match.after && match.before->frequency_hz && match.after->frequency_hz && !hiss) {
        const std::string old = frequency_text(*match.before->frequency_hz), now = frequency_text(*match.after->frequency_hz);
        text += std::abs(*match.after->frequency_hz / *match.before->frequency_hz - 1) < kSamePlace ? " at " + now
                                                                                                    : fmt::format(" at {} (then {})", now, old);
    } else if (told.frequency_hz && !hiss) {
        text += " at " + frequency_text(*told.frequency_hz);
    }
    if (match.before && match.after && match.before->kind != match.after->kind) text += fmt::format(", then told as {}", name_of(*match.before));
    return text;
}

const RecordedLevel* level_in(const RecordedSource* source, const std::string& take, Channel channel) {
    if (!source) return nullptr;
    for (const RecordedSourceLevel& one : source->levels)
        if (one.take == take && one.channel == channel) return &one.level;
    return nullptr;
}

const RecordedFloor* floor_in(const RecordedSystem& record, const std::string& take, Channel channel) {
    for (const RecordedFloor& one : record.floors)
        if (one.take == take && one.channel == channel) return &one;
    return nullptr;
}

/// What all noise makes where a source's lines would lie: it can't have been louder and unseen.
///   ratio   engine speed there over that of the take where the lines are known
RecordedLevel hiding(const RecordedFloor& floor, const RecordedSource& source, double ratio) {
    std::vector<double> lines;
    double top = -1e300;
    for (const auto& one : source.lines) top = std::max(top, one.level_dbfs);
    for (const auto& one : source.lines)
        if (one.level_dbfs > top - kCounts_db) lines.push_back(one.frequency_hz * ratio);
    if (lines.empty() && source.frequency_hz && source.kind != "hiss" && source.kind != "crackle") lines.push_back(*source.frequency_hz * ratio);
    std::set<const RecordedBand*> bands;
    for (const double hz : lines)
        for (const RecordedBand& band : floor.bands)
            if (hz >= band.low_hz / 1.01 && hz < band.high_hz * 1.01) bands.insert(&band);
    if (bands.empty()) {
        const auto whole = floor.figures.find("unweighted");
        return whole == floor.figures.end() ? RecordedLevel{} : whole->second;
    }
    const auto sum = [&](std::optional<Reading> RecordedLevel::*side) {
        std::optional<Reading> out;
        double power = 0, sd = 0;
        for (const RecordedBand* band : bands) {
            const auto& level = band->level.*side;
            if (!level) return std::optional<Reading>();
            power += power_from_decibels(level->value);
            sd = std::max(sd, level->sd);
        }
        out = Reading{decibels_from_power(power), sd, LimitedBy::nothing};
        return out;
    };
    return {sum(&RecordedLevel::dbfs), sum(&RecordedLevel::dbv)};
}

class SourceComparing {
public:
    SourceComparing(Workbench& bench, const SourceMatch& match) : bench_(bench), match_(match), name_(headline_of(match)) {}

    void run() {
        bool any = false;
        for (const GroupPair& pair : bench_.alike.pairs) {
            if (!is_quiet(pair.before)) continue;
            for (const Channel channel : common_channels(pair)) any = level_item(pair, channel) || any;
        }
        if (any) return;
        const RecordedSource& source = match_.after ? *match_.after : *match_.before;
        if (source.levels.empty()) {
            const bool ear = source.kind == "heard_only";
            bench_.out.items.push_back(refused_item(
                "noise", name_, "",
                ear ? "it was heard and not measured: listen again in the same place and note it with noise_heard" : "no take gives it a level"));
        } else {
            bench_.out.items.push_back(refused_item("noise", name_, "", "the takes that hold it weren't measured alike (see below)"));
        }
    }

private:
    LevelOf reader(const RecordedSource* source, Channel channel) const {
        return [source, channel](const std::string& take) { return level_in(source, take, channel); };
    }

    std::optional<Scatter> scatter(const GroupPair& pair, Channel channel, const Basis& basis) const {
        std::vector<std::vector<double>> groups;
        const auto add = [&](const std::vector<TakeGroup>& all, const RecordedSource* source, bool earlier) {
            for (const TakeGroup& group : all) {
                const bool hunts = group.first().conditions.engine == Engine::idle || group.first().conditions.engine == Engine::sweep;
                if (hunts != pair.hunts || !is_quiet(group)) continue;
                if (const auto level = group_level(group, reader(source, channel), basis, earlier)) groups.push_back(level->each);
            }
        };
        add(bench_.alike.before, match_.before, true);
        add(bench_.alike.after, match_.after, false);
        return pooled(groups);
    }

    /// The most that a source which wasn't found may have been.
    std::optional<GroupLevel> bound(const RecordedSystem& record, const TakeGroup& group, Channel channel, const Basis& basis, bool earlier) const {
        const bool seen_then = !earlier;
        const RecordedSource& seen = seen_then ? *match_.before : *match_.after;
        const double ratio = follows_engine(seen) ? speed_since(seen, seen_then ? bench_.before : bench_.after, record, group) : 1.0;
        std::map<std::string, RecordedLevel> levels;
        for (const Take* take : group.takes)
            if (const RecordedFloor* floor = floor_in(record, take->file, channel)) levels[take->file] = hiding(*floor, seen, ratio);
        auto out = group_level(
            group,
            [&levels](const std::string& take) {
                const auto at = levels.find(take);
                return at == levels.end() ? nullptr : &at->second;
            },
            basis, earlier);
        if (out) out->figure.at_most = true;
        return out;
    }

    /// Engine speed in a group over that in the take where a source's lines were read.
    static double speed_since(const RecordedSource& seen, const RecordedSystem& of_seen, const RecordedSystem& record, const TakeGroup& group) {
        const RecordedSourceLevel* loudest = nullptr;
        for (const RecordedSourceLevel& one : seen.levels)
            if (one.level.dbfs && (!loudest || one.level.dbfs->value > loudest->level.dbfs->value)) loudest = &one;
        const Take* take = loudest ? of_seen.take(loudest->take) : nullptr;
        return take ? speed_ratio(of_seen, *take, record, group.first()).value_or(1.0) : 1.0;
    }

    bool level_item(const GroupPair& pair, Channel channel) {
        const auto in_any = [&](const RecordedSource* source, const TakeGroup& group) {
            return std::any_of(group.takes.begin(), group.takes.end(), [&](const Take* take) { return level_in(source, take->file, channel); });
        };
        const bool then = in_any(match_.before, pair.before), now = in_any(match_.after, pair.after);
        if (!then && !now) return false;
        ComparedItem item = item_of("noise", name_, pair, channel);
        const Basis basis = basis_of(bench_, pair, channel);
        if (!basis.refused.empty()) {
            bench_.out.items.push_back(refused_item("noise", name_, item.where, basis.refused));
            return true;
        }
        item.unit = basis.unit();
        const bool turns = follows_engine(match_.after ? *match_.after : *match_.before);
        const double ratio = turns ? pair.speed_ratio.value_or(1.0) : 1.0;
        const auto old =
            then ? group_level(pair.before, reader(match_.before, channel), basis, true) : bound(bench_.before, pair.before, channel, basis, true);
        const auto fresh =
            now ? group_level(pair.after, reader(match_.after, channel), basis, false) : bound(bench_.after, pair.after, channel, basis, false);
        if (!old || !fresh) {
            bench_.out.items.push_back(refused_item("noise", name_, item.where,
                                                    fmt::format("it was found {}, and the other record doesn't say how loud it may have been unseen",
                                                                then ? "then alone" : "now alone")));
            return true;
        }
        Trial trial;
        trial.before = old->figure;
        trial.after = fresh->figure;
        trial.before_takes = old->each.size();
        trial.after_takes = fresh->each.size();
        trial.common_sd = basis.common_sd;
        trial.repeatability = pair.hunts ? bench_.rules.idle_db : bench_.rules.steady_db;
        if (then && now) trial.scatter = scatter(pair, channel, basis);
        if (turns) trial.extra = std::abs(20 * std::log10(ratio));  // what is induced goes with the frequency
        const Judged judged = judge(trial);
        settle(item, trial, judged);
        if (then != now) tell_one_sided(item, judged, then);
        bench_.out.items.push_back(std::move(item));
        return true;
    }

    static void tell_one_sided(ComparedItem& item, const Judged& judged, bool then) {
        const ComparedFigure& seen = then ? *item.before : *item.after;
        const ComparedFigure& limit = then ? *item.after : *item.before;
        const std::string level = signed_text(seen.value, item.unit), most = signed_text(limit.value, item.unit);
        const std::string start = fmt::format("{} ({}): ", item.what, item.where);
        if (judged.hidden || !judged.at_least) {
            item.verdict = ChangeVerdict::not_comparable;
            item.text =
                start + fmt::format("{} {}, not found {}, where all noise round it makes {}: it may only be hidden there, so no change can be told.",
                                    level, then ? "then" : "now", then ? "now" : "then", most);
            return;
        }
        item.verdict = then ? ChangeVerdict::gone : ChangeVerdict::appeared;
        item.text = start + (then ? fmt::format("{} then, not found any more; at least {:.1f} dB lower.", level, -judged.difference)
                                  : fmt::format("not found then, {} now; at least {:.1f} dB higher.", level, judged.difference));
    }

    Workbench& bench_;
    SourceMatch match_;
    std::string name_;
};

/// The interface's own way of being grounded makes or breaks loops: levels measured otherwise tell nothing of each other.
std::string other_interface(const Workbench& bench) {
    const auto &old = bench.before.job->interface.input, &now = bench.after.job->interface.input;
    if (!old || !now || *old == *now) return "";
    return fmt::format("the interface's input was {} then and is {} now, and its own ground is part of what is measured; use the same", to_word(*old),
                       to_word(*now));
}

struct FloorName {
    const char *key, *name;
};
constexpr FloorName kFloors[] = {{"unweighted", "Noise floor, unweighted"},
                                 {"a_weighted", "Noise floor, A-weighted"},
                                 {"itu468", "Noise floor, BS.468 rms"},
                                 {"itu468_quasi_peak", "Noise floor, BS.468 quasi-peak"}};

class FloorComparing {
public:
    FloorComparing(Workbench& bench, const GroupPair& pair, Channel channel)
        : bench_(bench), pair_(pair), channel_(channel), basis_(basis_of(bench, pair, channel)) {}

    void run() {
        if (!basis_.refused.empty()) {
            bench_.out.items.push_back(refused_item("floor", "Noise floor", where_of(channel_, pair_), basis_.refused));
            return;
        }
        for (const FloorName& one : kFloors) figure(one);
        bands();
    }

private:
    LevelOf reader(const RecordedSystem& record, const char* key) const {
        const Channel channel = channel_;
        return [&record, key, channel](const std::string& take) -> const RecordedLevel* {
            const RecordedFloor* floor = floor_in(record, take, channel);
            if (!floor) return nullptr;
            const auto at = floor->figures.find(key);
            return at == floor->figures.end() ? nullptr : &at->second;
        };
    }
    LevelOf band_reader(const RecordedSystem& record, double centre_hz) const {
        const Channel channel = channel_;
        return [&record, centre_hz, channel](const std::string& take) -> const RecordedLevel* {
            const RecordedFloor* floor = floor_in(record, take, channel);
            if (!floor) return nullptr;
            for (const RecordedBand& band : floor->bands)
                if (std::abs(band.centre_hz / centre_hz - 1) < 0.01) return &band.level;
            return nullptr;
        };
    }
    std::optional<Scatter> scatter(const LevelOf& before, const LevelOf& after) const {
        std::vector<std::vector<double>> groups;
        const auto add = [&](const std::vector<TakeGroup>& all, const LevelOf& level, bool earlier) {
            for (const TakeGroup& group : all) {
                const bool hunts = group.first().conditions.engine == Engine::idle || group.first().conditions.engine == Engine::sweep;
                if (hunts != pair_.hunts || !is_quiet(group)) continue;
                if (const auto found = group_level(group, level, basis_, earlier)) groups.push_back(found->each);
            }
        };
        add(bench_.alike.before, before, true);
        add(bench_.alike.after, after, false);
        return pooled(groups);
    }
    std::optional<Trial> trial_of(const LevelOf& before, const LevelOf& after) const {
        const auto old = group_level(pair_.before, before, basis_, true), now = group_level(pair_.after, after, basis_, false);
        if (!old || !now) return std::nullopt;
        Trial trial;
        trial.before = old->figure;
        trial.after = now->figure;
        trial.before_takes = old->each.size();
        trial.after_takes = now->each.size();
        trial.common_sd = basis_.common_sd;
        trial.repeatability = pair_.hunts ? bench_.rules.idle_db : bench_.rules.steady_db;
        trial.scatter = scatter(before, after);
        return trial;
    }

    void figure(const FloorName& name) {
        const auto trial = trial_of(reader(bench_.before, name.key), reader(bench_.after, name.key));
        if (!trial) return;
        ComparedItem item = item_of("floor", name.name, pair_, channel_);
        item.unit = basis_.unit();
        settle(item, *trial, judge(*trial));
        bench_.out.items.push_back(std::move(item));
    }

    void bands() {
        const RecordedFloor* now = floor_in(bench_.after, pair_.after.first().file, channel_);
        const RecordedFloor* old = floor_in(bench_.before, pair_.before.first().file, channel_);
        if (!now || !old) return;
        if (now->bands.empty() || old->bands.empty()) {
            if (now->bands.empty() != old->bands.empty())
                bench_.note(fmt::format("{} holds no third-octave bands: the floors are compared as a whole.",
                                        old->bands.empty() ? "The earlier record" : "This record"));
            return;
        }
        ComparedCurve curve;
        curve.kind = ComparedCurve::Kind::floor;
        curve.title = "Noise floor in third-octaves, " + where_of(channel_, pair_);
        curve.unit = basis_.unit();
        std::vector<std::pair<double, Trial>> trials;
        for (const RecordedBand& band : now->bands)
            if (auto trial = trial_of(band_reader(bench_.before, band.centre_hz), band_reader(bench_.after, band.centre_hz)))
                trials.emplace_back(band.centre_hz, *trial);
        if (trials.empty()) return;
        std::string lower, higher;
        for (auto& one : trials) {
            // all bands are looked at at once: each gets its share of the five percent (Bonferroni)
            one.second.outside = 0.05 / static_cast<double>(trials.size());
            const Judged judged = judge(one.second);
            const bool changed = judged.verdict == ChangeVerdict::better || judged.verdict == ChangeVerdict::worse;
            curve.points.push_back({one.first, one.second.before, one.second.after, changed});
            if (changed) {
                std::string& list = judged.difference < 0 ? lower : higher;
                list += (list.empty() ? "" : ", ") + fmt::format("{:g} Hz ({:+.0f} dB)", one.first, judged.difference);
            }
        }
        curve.text = lower.empty() && higher.empty()
                         ? fmt::format("None of the {} bands changed beyond what repeats.", trials.size())
                         : fmt::format("Changed beyond what repeats, of {} bands: {}{}{}.", trials.size(), lower.empty() ? "" : "lower at " + lower,
                                       !lower.empty() && !higher.empty() ? "; " : "", higher.empty() ? "" : "higher at " + higher);
        bench_.out.curves.push_back(std::move(curve));
    }

    Workbench& bench_;
    const GroupPair& pair_;
    Channel channel_;
    Basis basis_;
};

}  // namespace

void compare_noise(Workbench& bench) {
    if (!bench.before.has_noise || !bench.after.has_noise) return;
    if (const std::string why = other_interface(bench); !why.empty()) {
        bench.out.items.push_back(refused_item("noise", "Noise", "", why));
        return;
    }
    const bool one_record = bench.before_state == RecordState::first;
    std::vector<SourceMatch> matches;
    if (one_record) {
        for (const RecordedSource& one : bench.after.sources)
            if (one.sure) matches.push_back({&one, &one});
    } else {
        matches = match_sources(bench.before.sources, bench.after.sources);
    }
    for (const SourceMatch& match : matches) SourceComparing(bench, match).run();
}

void compare_floors(Workbench& bench) {
    if (!bench.before.has_noise || !bench.after.has_noise || !other_interface(bench).empty()) return;
    for (const GroupPair& pair : bench.alike.pairs) {
        if (!is_quiet(pair.before)) continue;
        for (const Channel channel : common_channels(pair))
            if (carries_signal(channel)) FloorComparing(bench, pair, channel).run();
    }
}

}  // namespace hushtrace::comparison
