#include "entry_paths.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "change_verdicts.hpp"
#include "cures.hpp"
#include "dummy_test.hpp"
#include "entry_actions.hpp"
#include "entry_words.hpp"
#include "tests_made.hpp"
#include "vehicle_states.hpp"

namespace hushtrace {
namespace {

constexpr double kSpeaks = 0.4;         // ln: what weighs less is no evidence worth a line
constexpr double kSaid = 0.001;         // sets less probable than this are left out; what is left is taken to be all
constexpr double kEvidenceFrom = 0.02;  // of sets so probable the evidence is said
constexpr std::size_t kCuresFor = 3;    // noise sources, loudest first

EntryPath path_of(const EntrySet& set, const std::string& source_id) {
    EntryPath out;
    out.source_id = source_id;
    out.paths.emplace_back(path_of(set.first));
    if (set.second) out.paths.emplace_back(path_of(*set.second));
    for (const EntryWay way : {set.first, set.second.value_or(set.first)})
        if (const auto mechanism = mechanism_of(way)) out.mechanism = std::string(*mechanism);
    out.probability = set.probability;
    return out;
}

void say_evidence(EntryPath& out, const EntrySet& set, const EntryEvidence& evidence, const Job& job) {
    std::vector<std::pair<double, Evidence>> weighed;
    for (const EntryOutcome& outcome : evidence.outcomes) {
        const double weight = weight_of(evidence.question, set, outcome);
        if (std::abs(weight) > kSpeaks) weighed.emplace_back(weight, said(outcome, job));
    }
    std::stable_sort(weighed.begin(), weighed.end(), [](const auto& a, const auto& b) { return std::abs(a.first) > std::abs(b.first); });
    for (auto& [weight, one] : weighed) (weight > 0.0 ? out.evidence_for : out.evidence_against).push_back(std::move(one));
}

void add_new(std::vector<Action>& actions, Action action) {
    if (std::none_of(actions.begin(), actions.end(),
                     [&action](const Action& one) { return one.action == action.action && one.source_id == action.source_id; }))
        actions.push_back(std::move(action));
}

/// Where no test was made since a change, what is said of the vehicle is from before it.
void say_what_it_rests_on(NoiseAnalysis& analysis, const NoiseSource& source, const Standing& standing, const std::vector<VehicleState>& states) {
    if (standing.rests_on + 1 == states.size() || standing.evidence.made.empty()) return;
    analysis.warnings.push_back(
        {"tests_before_change",
         fmt::format("{}: no test of where it gets in was made since \"{}\"; what is said of that rests on takes from before it.", source.id,
                     states.back().change.value_or("the change")),
         std::nullopt});
}

/// The take in which a source is loudest says in which engine state its tests are made.
void set_engine(NextTest& next, const NoiseSource& source, const std::list<TakeSurvey>& surveys) {
    const LevelInTake* loudest = loudest_level(source);
    for (const TakeSurvey& survey : surveys)
        if (loudest && survey.take->file == loudest->take) {
            next.engine = survey.take->conditions.engine;
            next.rpm = survey.take->conditions.rpm;
        }
}

NextTest next_of(const TestWorth& worth, const NoiseSource& source, const EntryPosterior& posterior, const EntryEvidence& evidence,
                 const std::list<TakeSurvey>& surveys, const Labour& labour) {
    NextTest next;
    const EntryTestFacts& facts = facts_of(worth.test);
    next.source_id = source.id;
    next.name = facts.name;
    next.hands = facts.hands;
    next.bits = worth.bits;
    next.minutes = worth.minutes;
    const TestCondition condition = condition_of(worth.test);
    next.field = condition.field;
    next.value = condition.value;
    next.observation = facts.read_by == ReadBy::ear || facts.read_by == ReadBy::meter;
    set_engine(next, source, surveys);
    const EntrySet& lead = posterior.sets.front();
    next.why = evidence.outcomes.empty()
                   ? fmt::format("No test of where it gets in is made yet; this one tells most for its labour ({:.1f} bits).", worth.bits)
                   : fmt::format("So far {} leads with {:.0f} %; this test tells most for its labour ({:.1f} bits).", plain_name(lead),
                                 100.0 * lead.probability, worth.bits);
    if (evidence.outcomes.empty() && !evidence.question.follows_engine)
        next.why += " It turns with no engine; that excludes no ground loop, since a charger, a screen or a disk drive feeds one as well.";
    if (facts.behind_the_source && !source_reached(evidence))
        next.why += fmt::format(" {:.0f} of its minutes go into reaching the back of the source, once.", labour.reach_source());
    for (const TestWorth::Branch& one : worth.branches)
        if (one.chance > 0.02)
            next.outcomes.push_back({one.chance, fmt::format("{} ({:.0f} %): then {} leads with {:.0f} %", one.outcome, 100.0 * one.chance,
                                                             plain_name(one.leads), 100.0 * one.leads.probability)});
    std::stable_sort(next.outcomes.begin(), next.outcomes.end(), [](const auto& a, const auto& b) { return a.chance > b.chance; });
    return next;
}

/// An amplifier that wakes only with the lead plugged in: nothing else counts until that is mended.
bool lost_its_ground(const Job& job) {
    const auto last = std::find_if(job.observations.rbegin(), job.observations.rend(),
                                   [](const Observation& one) { return one.what == "amplifier_wakes" && one.heard; });
    return last != job.observations.rend() && *last->heard == "only_with_lead";
}

void stop_at_lost_ground(NoiseAnalysis& analysis) {
    analysis.next_test.reset();
    analysis.health.insert(
        analysis.health.begin(),
        {"amplifier_ground_bad", "It wakes only with the signal lead plugged in: its supply current returns through the lead's shield.", 0.95});
    analysis.actions.insert(
        analysis.actions.begin(),
        {"Stop: connect no interface, pull the signal lead with the amplifier's fuse out, and mend the amplifier's own ground cable.",
         "The shield carries the amplifier's supply current: it burns the source's shell link, the lead, or the interface. Then note "
         "--observe amplifier_wakes=by_itself and go on.",
         "", std::nullopt, std::nullopt});
}

}  // namespace

void find_entry_paths(NoiseAnalysis& analysis, const std::list<TakeSurvey>& surveys, const Job& job) {
    const std::vector<VehicleState> states = vehicle_states(surveys, job);
    if (states.empty()) return;
    std::vector<Action> actions;
    const Labour labour{job.labour_min};
    if (auto first = alternator_first(analysis)) actions.push_back(std::move(*first));
    std::size_t cured = 0;
    for (const NoiseSource& source : analysis.noise_sources) {
        if (!has_an_entry(source.kind)) continue;
        const Standing standing = standing_in(states.size() - 1, source, states, analysis, surveys);
        const EntryEvidence& evidence = standing.evidence;
        const EntryPosterior& posterior = standing.posterior;
        double sum = 0;
        for (const EntrySet& set : posterior.sets)
            if (set.probability >= kSaid) sum += set.probability;
        for (const EntrySet& set : posterior.sets) {
            if (set.probability < kSaid) break;
            EntryPath path = path_of(set, source.id);
            if (path.probability >= kEvidenceFrom) say_evidence(path, set, evidence, job);
            path.probability /= sum;
            analysis.entry_paths.push_back(std::move(path));
        }
        for (const Warning& warning : evidence.warnings)   // of two sources in one take one word is enough
            if (std::none_of(analysis.warnings.begin(), analysis.warnings.end(), [&warning](const Warning& one) { return one.text == warning.text; }))
                analysis.warnings.push_back(warning);
        if (!analysis.dummy_test) analysis.dummy_test = dummy_test_of(source, evidence, job);
        add_tests_made(analysis, source, evidence, job);
        if (!may_be_there(source, states.back(), surveys)) continue;   // the last change took it away
        say_what_it_rests_on(analysis, source, standing, states);
        const ActsOn on{source, standing, states[standing.rests_on].job, analysis};
        for (Promise& promise : promises_of(on)) add_new(actions, std::move(promise.action));
        if (cured++ < kCuresFor)
            for (Cure& one : cures_for(on)) analysis.cures.push_back(std::move(one));
        if (analysis.next_test || posterior.sets.front().probability >= kSettled) continue;
        const auto worth = worth_of_tests(evidence.question, posterior, tests_left(evidence, surveys, job), source_reached(evidence), labour);
        if (!worth.empty() && worth.front().bits >= kLeastBits)
            analysis.next_test = next_of(worth.front(), source, posterior, evidence, surveys, labour);
    }
    judge_changes(analysis, states, surveys);
    analysis.actions.insert(analysis.actions.begin(), actions.begin(), actions.end());
    if (lost_its_ground(job)) stop_at_lost_ground(analysis);
}

}  // namespace hushtrace
