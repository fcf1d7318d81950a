#include "tests_made.hpp"

#include <algorithm>
#include <array>
#include <limits>
#include <utility>

#include "entry_words.hpp"

namespace hushtrace {
namespace {

constexpr double kOpen = 0.02;  // a way less probable than this is ruled out

using Chances = std::array<double, kEntryWays>;

Chances chances_of(const EntryPosterior& posterior) {
    Chances out{};
    for (const EntrySet& set : posterior.sets)
        for (std::size_t w = 0; w < kEntryWays; ++w)
            if (set.has(static_cast<EntryWay>(w))) out[w] += set.probability;
    return out;
}

/// When an outcome was known: takes before observations.
std::pair<std::size_t, std::size_t> made_at(const EntryOutcome& outcome, const Job& job) {
    constexpr std::size_t never = std::numeric_limits<std::size_t>::max();
    if (outcome.takes.empty()) return {never, outcome.observations.empty() ? never : outcome.observations.front()};
    std::size_t latest = 0;  // of the first pair: what comes after it repeats the test
    for (std::size_t t = 0; t < std::min<std::size_t>(2, outcome.takes.size()); ++t) {
        const auto at = std::find_if(job.takes.begin(), job.takes.end(), [&](const Take& one) { return one.file == outcome.takes[t]; });
        latest = std::max(latest, static_cast<std::size_t>(at - job.takes.begin()));
    }
    return {latest, 0};
}

}  // namespace

void add_tests_made(NoiseAnalysis& analysis, const NoiseSource& source, const EntryEvidence& evidence, const Job& job) {
    std::vector<EntryOutcome> in_order = evidence.outcomes;
    std::stable_sort(in_order.begin(), in_order.end(),
                     [&](const EntryOutcome& a, const EntryOutcome& b) { return made_at(a, job) < made_at(b, job); });
    std::vector<EntryOutcome> so_far;
    Chances before = chances_of(entry_posterior(evidence.question, so_far));
    for (const EntryOutcome& outcome : in_order) {
        so_far.push_back(outcome);
        const Chances after = chances_of(entry_posterior(evidence.question, so_far));
        TestMade made;
        made.source_id = source.id;
        made.name = outcome.done ? *outcome.done : std::string(facts_of(outcome.test).name);
        made.outcome = said(outcome, job);
        std::vector<std::size_t> ways;
        for (std::size_t w = 0; w < kEntryWays; ++w)
            if (before[w] >= kOpen || after[w] >= kOpen) ways.push_back(w);
        std::stable_sort(ways.begin(), ways.end(), [&](std::size_t a, std::size_t b) { return after[a] > after[b]; });
        for (const std::size_t w : ways) {
            const std::string name(plain_name(static_cast<EntryWay>(w)));
            made.ways.push_back({name, before[w], after[w]});
            if (before[w] >= kOpen && after[w] < kOpen) made.ruled_out.push_back(name);
        }
        analysis.tests_made.push_back(std::move(made));
        before = after;
    }
}

}  // namespace hushtrace
