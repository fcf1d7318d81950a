#include "entry_evidence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "entry_conditions.hpp"
#include "entry_levels.hpp"
#include "entry_pairs.hpp"
#include "supply_probe.hpp"

namespace hushtrace {
namespace {

using Surveys = std::vector<const TakeSurvey*>;
using Others = std::vector<const NoiseSource*>;

bool turns_with_the_engine(NoiseKind kind) { return kind == NoiseKind::alternator_whine || kind == NoiseKind::ignition_tick; }

/// The share of takes in which a source that is loud enough is not found: of a motor, which strays and turns at another speed each time (common
/// practice, no source); of others the odd test bears it.
double misses(NoiseKind kind) { return kind == NoiseKind::motor_whine ? 0.25 : 0.0; }

/// The level of one side against another in the take where the source is loudest, in the normal hookup.
void add_sides(const NoiseSource& source, const Surveys& surveys, const Others& others, EntryEvidence& evidence) {
    constexpr double uncalibrated_db = 3.0;
    const LevelInTake* best = nullptr;
    const TakeSurvey* in = nullptr;
    for (const TakeSurvey* one : surveys) {
        const TakeSurvey& survey = *one;
        if (!hookups_of(survey.take->conditions).empty()) continue;
        for (const LevelInTake& level : source.levels)
            if (level.take == survey.take->file && level.level_dbfs && (!best || *level.level_dbfs > *best->level_dbfs)) {
                best = &level;
                in = &survey;
            }
    }
    if (!in) return;
    const auto against = [&](EntryTest test, const TakeSurvey& other, Channel one_channel, Channel other_channel, double apart_db) {
        const auto one = level_in(source, *in, one_channel, others), two = level_in(source, other, other_channel, others);
        if (!one || !two || (one->at_most && two->at_most)) return;
        bool calibrated = true;
        for (const TakeSurvey* survey : {in, &other})
            for (const ChannelSurvey& channel : survey->channels) calibrated = calibrated && channel.volts_full_scale.has_value();
        EntryOutcome out;
        out.test = test;
        out.change = one->level_db - two->level_db;
        out.sd = std::hypot(std::hypot(one->sd_db, two->sd_db), std::hypot(calibrated ? 1.0 : uncalibrated_db, apart_db));
        out.takes = {in->take->file};
        if (&other != in) out.takes.push_back(other.take->file);
        evidence.outcomes.push_back(std::move(out));
    };
    against(EntryTest::left_against_right, *in, Channel::left, Channel::right, 0.0);
    const double apart = std::numbers::sqrt2 * repeats_db(in->take->conditions, evidence.question.follows_engine);
    for (const TakeSurvey* each : surveys) {   // the rear in a take of its own, or beside the front
        const TakeSurvey& other = *each;
        const Conditions &a = in->take->conditions, &b = other.take->conditions;
        if (other.take->after_change != in->take->after_change || !same_speed(a, b) || !tests_between(a, b, true).empty() ||
            hookups_of(a) != hookups_of(b))
            continue;
        const std::size_t before = evidence.outcomes.size();
        for (const auto& [front, rear] : {std::pair{Channel::left, Channel::rear_left}, std::pair{Channel::right, Channel::rear_right}}) {
            if (evidence.outcomes.size() == before) against(EntryTest::front_against_rear, other, front, rear, &other == in ? 0.0 : apart);
        }
        if (evidence.outcomes.size() != before) break;
    }
}

/// How the level strays within the take in which the source is loudest.
void add_wander(const NoiseSource& source, const Surveys& surveys, const std::vector<SourceTrace>& traces, EntryEvidence& evidence) {
    // what a reading strays by, and a level that turns with the engine (common practice, no source)
    constexpr double read_to_db = 0.4, engine_strays_db = 1.2;
    for (const SourceTrace& trace : traces)
        for (const TakeSurvey* one : surveys) {
            const TakeSurvey& survey = *one;
            const Take& take = *survey.take;
            if (trace.source_id != source.id || trace.take != take.file || !hookups_of(take.conditions).empty() ||
                take.conditions.engine == Engine::sweep)
                continue;
            const auto wander = wander_in(trace, survey);
            if (!wander) continue;
            EntryOutcome out;
            out.test = EntryTest::level_wanders;
            out.change = wander->sd_db;
            out.sd = wander->against_other_side || !evidence.question.follows_engine ? read_to_db : engine_strays_db;
            out.takes = {take.file};
            evidence.outcomes.push_back(std::move(out));
            return;
        }
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

/// Whether the source is there at the amplifier's input, or behind it alone: at its output, and not in a take at the input with the engine alike.
void find_place(const NoiseSource& source, const Surveys& surveys, EntryQuestion& question) {
    question.at_the_input = source.kind != NoiseKind::heard_only;
    const auto is_there = [&source](const TakeSurvey& survey) {
        return std::any_of(source.levels.begin(), source.levels.end(),
                           [&](const LevelInTake& level) { return level.take == survey.take->file && level.level_dbfs; });
    };
    std::vector<const TakeSurvey*> behind;
    for (const TakeSurvey* survey : surveys) {
        if (!is_there(*survey)) continue;
        if (survey->take->conditions.point != Point::amp_output) return;
        behind.push_back(survey);
    }
    if (behind.empty()) return;
    question.at_the_input = false;
    question.place_known = std::any_of(surveys.begin(), surveys.end(), [&](const TakeSurvey* survey) {
        const Conditions& c = survey->take->conditions;
        return c.point == Point::amp_input && hookups_of(c).empty() &&
               std::any_of(behind.begin(), behind.end(), [&c](const TakeSurvey* one) { return same_speed(one->take->conditions, c); });
    });
}

}  // namespace

double usual_repeats_db(const NoiseSource& source, const Conditions& conditions) {
    return repeats_db(conditions, turns_with_the_engine(source.kind));
}

EntryEvidence entry_evidence(const NoiseSource& source, const NoiseAnalysis& analysis, const std::list<TakeSurvey>& all, const Job& job,
                             const std::set<std::string>* only) {
    std::vector<const TakeSurvey*> surveys;
    for (const TakeSurvey& survey : all)
        if (!only || only->contains(survey.take->file)) surveys.push_back(&survey);
    EntryEvidence evidence;
    evidence.question.follows_engine = turns_with_the_engine(source.kind);
    find_place(source, surveys, evidence.question);
    if (source.kind == NoiseKind::heard_only)
        evidence.question.follows_engine = std::any_of(job.observations.begin(), job.observations.end(), [](const Observation& one) {
            return one.what == "noise_heard" && engine_turns(one.conditions.engine);
        });
    const LevelInTake* loudest = loudest_level(source);
    for (const TakeSurvey& survey : all) {
        if (!loudest || survey.take->file != loudest->take) continue;
        const Conditions& c = survey.take->conditions;
        const bool tone_lead =
            std::any_of(c.attached.begin(), c.attached.end(), [](const AttachedDevice& one) { return one.device == "interface_output"; });
        evidence.question.set_up_apart = c.laptop == LaptopPower::battery && !tone_lead;
    }
    if (!source.levels.empty()) {
        const Channel channel = loudest_channel(source);
        Others others;
        for (const NoiseSource& one : analysis.noise_sources) others.push_back(&one);
        for (const NoiseSource& one : analysis.unsure) others.push_back(&one);
        std::vector<LevelHere> levels;
        for (const TakeSurvey* survey : surveys)
            if (const auto level = level_in(source, *survey, channel, others)) levels.push_back(*level);
        add_pairs(levels, evidence);
        for (EntryOutcome& one : evidence.outcomes)
            if (one.at_most) one.missed = misses(source.kind);
        add_sides(source, surveys, others, evidence);
        add_wander(source, surveys, analysis.traces, evidence);
        if (const auto slope = slope_that_weighs(analysis, source.id)) {
            EntryOutcome out;
            out.test = EntryTest::supply_slope;
            out.change = slope->db_per_decade;
            out.sd = slope->sd;
            out.takes = slope->takes;
            evidence.outcomes.push_back(std::move(out));
        }
    }
    add_observations(job, evidence);
    return evidence;
}

namespace {
bool heard_with_dummy(const EntryEvidence& evidence) {
    return std::any_of(evidence.outcomes.begin(), evidence.outcomes.end(), [](const EntryOutcome& one) {
        return one.test == EntryTest::shorted_at_amp && one.also.empty() && (one.heard ? *one.heard != "gone" : one.change > kToFloor_db);
    });
}
}  // namespace

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
        if (evidence.made.contains(test) || facts_of(test).read_by == ReadBy::channels) continue;
        if (test == EntryTest::device_unplugged && !devices) continue;
        if (test == EntryTest::tone_lead_off && !tone_lead) continue;
        if (test == EntryTest::laptop_on_battery && !laptop_fed) continue;
        if (test == EntryTest::temporary_ground && bad_ground) continue;   // never where the amplifier's own ground is in doubt
        // noise that came in before the amplifier drowns what the speaker leads bring: the dummy first, and only where something was heard with it
        if (test == EntryTest::test_speaker && evidence.question.at_the_input) continue;
        if (test == EntryTest::test_speaker_on_dummy && (!evidence.question.at_the_input || !heard_with_dummy(evidence))) continue;
        if (test == EntryTest::loads_on && !evidence.question.follows_engine) continue;
        left.push_back(test);
    }
    return left;
}

bool source_reached(const EntryEvidence& evidence) {
    return std::any_of(evidence.made.begin(), evidence.made.end(), [](EntryTest test) { return facts_of(test).behind_the_source; });
}

}  // namespace hushtrace
