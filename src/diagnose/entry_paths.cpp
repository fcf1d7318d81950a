#include "entry_paths.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "entry_evidence.hpp"
#include "entry_words.hpp"
#include "tests_made.hpp"

namespace hushtrace {
namespace {

constexpr double kSpeaks = 0.4;         // ln: what weighs less is no evidence worth a line
constexpr double kSaid = 0.001;         // sets less probable than this are left out; what is left is taken to be all
constexpr double kEvidenceFrom = 0.02;  // of sets so probable the evidence is said
constexpr double kActsFrom = 0.6;       // what is more probable than this is worth an action

bool has_an_entry(NoiseKind kind) { return kind != NoiseKind::hiss && kind != NoiseKind::clipping && kind != NoiseKind::phone_burst; }

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

const EntryOutcome* outcome_of(const EntryEvidence& evidence, EntryTest test) {
    for (const EntryOutcome& one : evidence.outcomes)
        if (one.test == test && !one.heard) return &one;
    return nullptr;
}

void add_actions(std::vector<Action>& actions, const NoiseSource& source, const EntryPosterior& posterior, const EntryEvidence& evidence) {
    const EntrySet& lead = posterior.sets.front();
    if (lead.probability < kActsFrom) return;
    for (const auto way : {std::optional(lead.first), lead.second}) {
        if (!way) continue;
        const Remedy remedy = remedy_of(*way);
        Action action{std::string(remedy.what), fmt::format("{} gets in by {} ({:.0f} %). {}", plain_name(source.kind), plain_name(*way), 100.0 * lead.probability, remedy.why),
                      source.id, std::nullopt, std::nullopt};
        action.why.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(action.why.front())));
        if (const EntryOutcome* shown = remedy.shown_by ? outcome_of(evidence, *remedy.shown_by) : nullptr) {
            action.expected_change_db = shown->change;   // the temporary thing showed what the lasting one brings
            action.sd_db = shown->sd;
        }
        actions.push_back(std::move(action));
    }
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
                 const std::list<TakeSurvey>& surveys) {
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
                   : fmt::format("So far {} leads with {:.0f} %; this test tells most for its labour ({:.1f} bits).", plain_name(lead), 100.0 * lead.probability, worth.bits);
    if (facts.behind_the_source && !source_reached(evidence))
        next.why += fmt::format(" {:.0f} of its minutes go into reaching the back of the source, once.", kReachSource_min);
    for (const TestWorth::Branch& one : worth.branches)
        if (one.chance > 0.02)
            next.outcomes.push_back({one.chance, fmt::format("{} ({:.0f} %): then {} leads with {:.0f} %", one.outcome, 100.0 * one.chance, plain_name(one.leads),
                                                             100.0 * one.leads.probability)});
    std::stable_sort(next.outcomes.begin(), next.outcomes.end(), [](const auto& a, const auto& b) { return a.chance > b.chance; });
    return next;
}

}  // namespace

void find_entry_paths(NoiseAnalysis& analysis, const std::list<TakeSurvey>& surveys, const Job& job) {
    std::vector<Action> actions;
    for (const NoiseSource& source : analysis.noise_sources) {
        if (!has_an_entry(source.kind)) continue;
        const EntryEvidence evidence = entry_evidence(source, surveys, job);
        const EntryPosterior posterior = entry_posterior(evidence.question, evidence.outcomes);
        double sum = 0;
        for (const EntrySet& set : posterior.sets)
            if (set.probability >= kSaid) sum += set.probability;
        for (std::size_t s = 0; s < posterior.sets.size(); ++s) {
            if (posterior.sets[s].probability < kSaid) break;
            EntryPath path = path_of(posterior.sets[s], source.id);
            if (path.probability >= kEvidenceFrom) say_evidence(path, posterior.sets[s], evidence, job);
            path.probability /= sum;
            analysis.entry_paths.push_back(std::move(path));
        }
        for (const Warning& warning : evidence.warnings) analysis.warnings.push_back(warning);
        add_actions(actions, source, posterior, evidence);
        add_tests_made(analysis, source, evidence, job);
        if (analysis.next_test || posterior.sets.front().probability >= kSettled) continue;
        const auto worth = worth_of_tests(evidence.question, posterior, tests_left(evidence, surveys, job), source_reached(evidence));
        if (!worth.empty() && worth.front().bits >= kLeastBits) analysis.next_test = next_of(worth.front(), source, posterior, evidence, surveys);
    }
    analysis.actions.insert(analysis.actions.begin(), actions.begin(), actions.end());
}

}  // namespace hushtrace
