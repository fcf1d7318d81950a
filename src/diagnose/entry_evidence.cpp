#include "entry_evidence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "hushtrace/signal/decibel.hpp"
#include "entry_conditions.hpp"
#include "gain_parts.hpp"
#include "noise_sources.hpp"

namespace hushtrace {
namespace {

constexpr double kRepeats_idle_db = 4.0, kRepeats_held_db = 2.0, kRepeats_fixed_db = 1.0;   // between takes (common practice, no source)
constexpr double kDeepest_db = -31.0;          // the tables know of no deeper fall
constexpr double kApart_sd = 3.0;              // so far apart, takes of one test contradict each other

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

bool turns_with_the_engine(NoiseKind kind) { return kind == NoiseKind::alternator_whine || kind == NoiseKind::ignition_tick; }

std::optional<LevelHere> level_in(const NoiseSource& source, const TakeSurvey& survey, Channel channel) {
    LevelHere here;
    here.survey = &survey;
    for (const LevelInTake& level : source.levels)
        if (level.take == survey.take->file && level.channel == channel && level.level_dbfs) {
            here.level_db = level.level_dbv ? *level.level_dbv : *level.level_dbfs;
            here.sd_db = level.sd_db;
            return here;
        }
    for (const ChannelSurvey& one : survey.channels) {
        if (one.channel != channel || one.silent || !(one.hiss.all.unweighted.value > 0.0)) continue;
        here.at_most = true;
        here.sd_db = 2.0;
        here.level_db = dbfs_from_mean_square(one.hiss.all.unweighted.value) + found_from_db(source.kind);
        if (one.volts_full_scale) here.level_db = dbv_from_dbfs(here.level_db, *one.volts_full_scale);
        return here;
    }
    return std::nullopt;
}

bool alike_but_for_volume(const Conditions& a, const Conditions& b) {
    return hookups_of(a) == hookups_of(b) && a.source == b.source && a.input == b.input && a.attached == b.attached && a.laptop == b.laptop &&
           sorted(a.loads) == sorted(b.loads) && a.point == b.point;
}

double repeats_db(const Conditions& conditions, bool follows_engine) {
    if (!follows_engine) return kRepeats_fixed_db;
    return conditions.engine == Engine::idle ? kRepeats_idle_db : kRepeats_held_db;
}

/// A probe on the supply may make a loop of its own: such takes are held against each other alone.
bool alike_in_probe(const Take& a, const Take& b) {
    const auto probed = [](const Take& take) { return !std::all_of(take.channels.begin(), take.channels.end(), carries_signal); };
    return probed(a) == probed(b);
}

/// Takes of the same conditions: what they differ by is how well such takes repeat.
struct Repeats {
    double squares = 0;
    std::size_t count = 0;
    /// The usual figure counts as much as three more takes.
    double sd(double usual) const {
        constexpr double prior = 3.0, least = 0.5;
        return std::max(least, std::sqrt((prior * usual * usual + squares) / (prior + static_cast<double>(count))));
    }
};

/// So far apart, two takes of the same conditions contradict each other.
double contradicts_db(double repeats) { return kApart_sd * std::numbers::sqrt2 * repeats; }

Repeats repeats_of(const std::vector<LevelHere>& levels, bool follows_engine) {
    Repeats repeats;
    for (std::size_t a = 0; a < levels.size(); ++a)
        for (std::size_t b = a + 1; b < levels.size(); ++b) {
            const Take &one = *levels[a].survey->take, &other = *levels[b].survey->take;
            if (levels[a].at_most || levels[b].at_most || one.after_change != other.after_change || !alike_in_probe(one, other)) continue;
            if (!same_speed(one.conditions, other.conditions) || !alike_but_for_volume(one.conditions, other.conditions) ||
                one.conditions.volume != other.conditions.volume)
                continue;
            const double apart = levels[a].level_db - levels[b].level_db;
            if (std::abs(apart) > contradicts_db(repeats_db(one.conditions, follows_engine))) continue;   // that is no repeating
            repeats.squares += apart * apart / 2.0;
            ++repeats.count;
        }
    return repeats;
}

struct ChangeRead {
    double change = 0, sd = 0;
    bool at_most = false;
    std::vector<std::string> takes;
};

/// Several readings of one test as one: those that show a change before those that only bound it.
EntryOutcome joined(EntryTest test, std::vector<ChangeRead> readings, double apart_db, std::vector<Warning>& warnings) {
    const bool any_read = std::any_of(readings.begin(), readings.end(), [](const ChangeRead& one) { return !one.at_most; });
    if (any_read) std::erase_if(readings, [](const ChangeRead& one) { return one.at_most; });
    EntryOutcome out;
    out.test = test;
    out.at_most = !any_read;
    double weights = 0, sum = 0, low = 1e9, high = -1e9, widest = 0;
    for (const ChangeRead& one : readings) {
        const double weight = 1.0 / (one.sd * one.sd);
        weights += weight;
        sum += weight * one.change;
        low = std::min(low, one.change);
        high = std::max(high, one.change);
        widest = std::max(widest, one.sd);
        for (const std::string& take : one.takes)
            if (std::find(out.takes.begin(), out.takes.end(), take) == out.takes.end()) out.takes.push_back(take);
    }
    // to the floor is to the floor, however far down that lies
    out.change = out.at_most ? std::max(low, kToFloor_db) : std::max(sum / weights, kDeepest_db);
    out.sd = readings.size() > 1 ? std::max(std::sqrt(1.0 / weights), 0.7 * widest) : widest;   // they share the take they are held against
    if (!out.at_most && high - low > apart_db) {
        warnings.push_back({"test_contradicts", fmt::format("Takes with {} contradict each other: {:+.0f} to {:+.0f} dB. Make that test once more.",
                                                            facts_of(test).name, low, high),
                            out.takes.back()});
        out.sd = std::max(out.sd, 0.5 * (high - low));
    }
    return out;
}

Channel channel_of_loudest(const NoiseSource& source) {
    Channel channel = Channel::left;
    double most = -1e9;
    for (const LevelInTake& level : source.levels)
        if (level.level_dbfs && *level.level_dbfs > most) {
            most = *level.level_dbfs;
            channel = level.channel;
        }
    return channel;
}

/// Turned down, noise from before the volume control follows; how far says nothing of the path, but for that.
double as_if_turned_to_zero(double change_db) {
    constexpr double follows_db = -4.0;
    return change_db < follows_db ? kToFloor_db : change_db;
}

void add_pairs(const std::vector<LevelHere>& levels, EntryEvidence& evidence) {
    std::map<EntryTest, std::vector<ChangeRead>> readings;
    const Repeats repeats = repeats_of(levels, evidence.question.follows_engine);
    for (const LevelHere& plain : levels)
        for (const LevelHere& tested : levels) {
            if (&plain == &tested || plain.at_most || plain.survey->take->after_change != tested.survey->take->after_change) continue;
            if (!alike_in_probe(*plain.survey->take, *tested.survey->take)) continue;
            const Conditions &a = plain.survey->take->conditions, &b = tested.survey->take->conditions;
            const auto test = test_between(a, b, evidence.question.follows_engine);
            if (!test) continue;
            ChangeRead one;
            one.at_most = tested.at_most;
            one.change = tested.level_db - plain.level_db;
            if (*test == EntryTest::volume_zero && b.volume && *b.volume > 0.0) one.change = as_if_turned_to_zero(one.change);
            const double apart = repeats.sd(repeats_db(a, evidence.question.follows_engine));
            // two takes differ by the square root of two times what one strays; what only bounds the level strays less
            one.sd = std::hypot(plain.sd_db, std::hypot(tested.sd_db, one.at_most ? apart : std::numbers::sqrt2 * apart));
            one.takes = {plain.survey->take->file, tested.survey->take->file};
            readings[*test].push_back(std::move(one));
        }
    const double usual = !evidence.question.follows_engine ? kRepeats_fixed_db : kRepeats_idle_db;
    for (auto& [test, some] : readings) {
        evidence.outcomes.push_back(joined(test, std::move(some), contradicts_db(usual), evidence.warnings));
        evidence.made.insert(test);
    }
}

/// Left against right in the take where the source is loudest, in the normal hookup.
void add_sides(const NoiseSource& source, const std::list<TakeSurvey>& surveys, EntryEvidence& evidence) {
    constexpr double uncalibrated_db = 3.0;
    const LevelInTake* best = nullptr;
    const TakeSurvey* in = nullptr;
    for (const TakeSurvey& survey : surveys) {
        if (!hookups_of(survey.take->conditions).empty()) continue;
        for (const LevelInTake& level : source.levels)
            if (level.take == survey.take->file && level.level_dbfs && (!best || *level.level_dbfs > *best->level_dbfs)) {
                best = &level;
                in = &survey;
            }
    }
    if (!in) return;
    const auto left = level_in(source, *in, Channel::left), right = level_in(source, *in, Channel::right);
    if (!left || !right || (left->at_most && right->at_most)) return;
    bool calibrated = true;
    for (const ChannelSurvey& one : in->channels) calibrated = calibrated && one.volts_full_scale.has_value();
    EntryOutcome out;
    out.test = EntryTest::left_against_right;
    out.change = left->level_db - right->level_db;
    out.sd = std::hypot(std::hypot(left->sd_db, right->sd_db), calibrated ? 1.0 : uncalibrated_db);
    out.takes = {in->take->file};
    evidence.outcomes.push_back(out);
}

/// The ear and the meter: of the ear, what was heard of noise like this one.
void add_observations(const Job& job, EntryEvidence& evidence) {
    constexpr double read_to = 0.1;   // of a meter, log10
    for (std::size_t i = 0; i < job.observations.size(); ++i) {
        const Observation& one = job.observations[i];
        if (one.declined || one.after_change) continue;
        EntryOutcome out;
        out.observations = {i};
        if (one.what == "noise_heard" && one.heard) {
            if (engine_turns(one.conditions.engine) != evidence.question.follows_engine) continue;
            const auto test = hookup_test(Conditions{}, one.conditions);
            if (!test) continue;
            out.test = *test;
            out.heard = one.heard;
        } else if (one.what == "ground_drop" && one.value && *one.value > 0.0) {
            out.test = EntryTest::ground_drop;
            out.change = std::log10(std::max(*one.value, 1e-3));
            out.sd = read_to;
        } else if (one.what == "shell_to_case" && one.value && *one.value >= 0.0) {
            out.test = EntryTest::shell_to_case;
            out.change = std::log10(std::clamp(*one.value, 1e-2, 1e6));
            out.sd = read_to;
        } else {
            continue;
        }
        if (evidence.made.contains(out.test)) continue;   // a take says it better than the ear; the first reading counts
        evidence.made.insert(out.test);
        evidence.outcomes.push_back(std::move(out));
    }
}

}  // namespace

std::optional<LevelHere> level_here(const NoiseSource& source, const TakeSurvey& survey, Channel channel) { return level_in(source, survey, channel); }
Channel loudest_channel(const NoiseSource& source) { return channel_of_loudest(source); }
bool alike(const Conditions& a, const Conditions& b) { return same_speed(a, b) && alike_but_for_volume(a, b) && a.volume == b.volume; }
double usual_repeats_db(const NoiseSource& source, const Conditions& conditions) { return repeats_db(conditions, turns_with_the_engine(source.kind)); }

EntryEvidence entry_evidence(const NoiseSource& source, const std::list<TakeSurvey>& surveys, const Job& job, const std::set<std::string>* only) {
    const auto used = [only](const TakeSurvey& survey) { return !only || only->contains(survey.take->file); };
    EntryEvidence evidence;
    evidence.question.follows_engine = turns_with_the_engine(source.kind);
    evidence.question.at_the_input = source.kind != NoiseKind::heard_only;
    if (source.kind == NoiseKind::heard_only)
        evidence.question.follows_engine = std::any_of(job.observations.begin(), job.observations.end(), [](const Observation& one) {
            return one.what == "noise_heard" && engine_turns(one.conditions.engine);
        });
    const LevelInTake* loudest = loudest_level(source);
    for (const TakeSurvey& survey : surveys) {
        if (!loudest || survey.take->file != loudest->take) continue;
        const Conditions& c = survey.take->conditions;
        const bool tone_lead = std::any_of(c.attached.begin(), c.attached.end(), [](const AttachedDevice& one) { return one.device == "interface_output"; });
        evidence.question.set_up_apart = c.laptop == LaptopPower::battery && !tone_lead;
    }
    if (evidence.question.at_the_input) {
        const Channel channel = channel_of_loudest(source);
        std::vector<LevelHere> levels;
        for (const TakeSurvey& survey : surveys)
            if (const auto level = used(survey) ? level_in(source, survey, channel) : std::nullopt) levels.push_back(*level);
        add_pairs(levels, evidence);
        add_sides(source, surveys, evidence);
    }
    add_observations(job, evidence);
    return evidence;
}

std::vector<EntryTest> tests_left(const EntryEvidence& evidence, const std::list<TakeSurvey>& surveys, const Job& job) {
    bool devices = false, tone_lead = false, laptop_fed = false;
    for (const TakeSurvey& survey : surveys) {
        const Conditions& c = survey.take->conditions;
        for (const AttachedDevice& device : c.attached) (device.device == "interface_output" ? tone_lead : devices) = true;
        laptop_fed = laptop_fed || (c.laptop && *c.laptop != LaptopPower::battery);
    }
    bool bad_ground = false;
    for (const Observation& one : job.observations) bad_ground = bad_ground || (one.what == "ground_drop" && one.value && *one.value > 0.2);
    std::vector<EntryTest> left;
    for (const EntryTest test : all_entry_tests()) {
        if (evidence.made.contains(test) || test == EntryTest::left_against_right) continue;
        if (test == EntryTest::device_unplugged && !devices) continue;
        if (test == EntryTest::tone_lead_off && !tone_lead) continue;
        if (test == EntryTest::laptop_on_battery && !laptop_fed) continue;
        if (test == EntryTest::temporary_ground && bad_ground) continue;   // never where the amplifier's own ground is in doubt
        if (test == EntryTest::loads_on && !evidence.question.follows_engine) continue;
        // at the input, what the ear hears is for noise that lies behind it
        if (evidence.question.at_the_input && facts_of(test).read_by == ReadBy::ear) continue;
        left.push_back(test);
    }
    return left;
}

bool source_reached(const EntryEvidence& evidence) {
    return std::any_of(evidence.made.begin(), evidence.made.end(), [](EntryTest test) { return facts_of(test).behind_the_source; });
}

}  // namespace hushtrace
