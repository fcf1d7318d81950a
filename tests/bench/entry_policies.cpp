/// The probabilities of where noise gets in, test after test, in an order of one's choice: each line of stdin is one vehicle with what every
/// test of it shows, each line of stdout what the model made of it. tests/bench/entry_trials.py asks.
///
///   {"follows_engine": true, "at_the_input": true, "set_up_apart": true, "policy": "own" | ["isolator", ...], "most": 9,
///    "outcomes": {"isolator": {"change": -30, "sd": 2.8, "at_most": true}, "test_speaker": {"heard": "gone"}, ...}}
#include <algorithm>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <string>

#include "../../src/diagnose/entry/entry_model.hpp"

using namespace hushtrace;
using nlohmann::json;

namespace {

std::optional<EntryTest> test_of(const std::string& word) {
    for (const EntryTest test : all_entry_tests())
        if (word_of(test) == word) return test;
    return std::nullopt;
}

std::string name_of(EntryWay way) { return mechanism_of(way) ? "pickup_" + std::string(*mechanism_of(way)) : std::string(path_of(way)); }

EntryOutcome outcome_of(EntryTest test, const json& from) {
    EntryOutcome out;
    out.test = test;
    out.change = from.value("change", 0.0);
    out.sd = from.value("sd", 2.0);
    out.at_most = from.value("at_most", false);
    if (from.contains("heard")) out.heard = from["heard"].get<std::string>();
    return out;
}

json sets_of(const EntryPosterior& posterior) {
    json sets = json::object();
    for (const EntrySet& set : posterior.sets)
        if (set.probability > 1e-5) sets[name_of(set.first) + (set.second ? "+" + name_of(*set.second) : "")] = set.probability;
    return sets;
}

}  // namespace

int main() {
    std::string line;
    while (std::getline(std::cin, line)) {
        const json asked = json::parse(line);
        EntryQuestion question;
        question.follows_engine = asked["follows_engine"];
        question.at_the_input = asked["at_the_input"];
        question.set_up_apart = asked["set_up_apart"];
        std::map<EntryTest, EntryOutcome> known;
        for (const auto& [word, outcome] : asked["outcomes"].items()) known[test_of(word).value()] = outcome_of(test_of(word).value(), outcome);
        std::vector<EntryOutcome> outcomes;
        for (const EntryTest test : {EntryTest::left_against_right, EntryTest::level_wanders}) {   // every take shows them
            if (!known.contains(test)) continue;
            outcomes.push_back(known[test]);
            known.erase(test);
        }
        std::vector<EntryTest> order;
        const bool own = asked["policy"] == "own";
        if (!own)
            for (const json& one : asked["policy"])
                order.push_back(test_of(one.get<std::string>()).value());
        const auto most = asked.value("most", std::size_t{9});
        const bool stops = asked.value("stops", own);
        bool reached = false;
        json steps = json::array();
        EntryPosterior posterior = entry_posterior(question, outcomes);
        steps.push_back({{"test", nullptr}, {"minutes", 0}, {"sets", sets_of(posterior)}});
        std::size_t next = 0;
        while (steps.size() <= most) {
            if (stops && posterior.sets.front().probability >= kSettled) break;
            EntryTest test;
            double bits = 0;
            if (own) {
                std::vector<EntryTest> possible;
                for (const auto& [one, outcome] : known) {
                    const auto dummy = std::find_if(outcomes.begin(), outcomes.end(),
                                                    [](const EntryOutcome& made) { return made.test == EntryTest::shorted_at_amp; });
                    if (question.at_the_input && one == EntryTest::test_speaker) continue;   // as the program has it
                    if (one == EntryTest::test_speaker_on_dummy && (!question.at_the_input || dummy == outcomes.end() || dummy->heard == "gone"))
                        continue;
                    possible.push_back(one);
                }
                const auto worth = worth_of_tests(question, posterior, possible, reached, {});
                if (worth.empty() || worth.front().bits < kLeastBits) break;
                test = worth.front().test;
                bits = worth.front().bits;
            } else {
                while (next < order.size() && !known.contains(order[next])) ++next;
                if (next == order.size()) break;
                test = order[next];
            }
            const EntryTestFacts& facts = facts_of(test);
            const double minutes = facts.minutes + (facts.behind_the_source && !reached ? kReachSource_min : 0.0);
            reached = reached || facts.behind_the_source;
            outcomes.push_back(known[test]);
            known.erase(test);
            posterior = entry_posterior(question, outcomes);
            steps.push_back({{"test", word_of(test)}, {"minutes", minutes}, {"bits", bits}, {"sets", sets_of(posterior)}});
        }
        std::cout << steps << std::endl;
    }
}
