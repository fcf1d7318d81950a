#include "../../../src/diagnose/entry/entry_paths.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/entry/entry_words.hpp"
#include "diagnose/entry_job.hpp"
#include "holds.hpp"

using namespace hushtrace;
using namespace hushtrace::entry_job;

namespace {

/// A whine in takes of a job, and what is found of its ways in.
struct Found : EntryJob {
    NoiseAnalysis analysis;
    Job extra;   ///< observations and minutes
    explicit Found(NoiseKind kind = NoiseKind::alternator_whine) : EntryJob(kind) {}
    const NoiseAnalysis& find() {
        Job all = job();
        all.observations = extra.observations;
        all.labour_min = extra.labour_min;
        if (analysis.noise_sources.empty()) analysis.noise_sources = {source};
        find_entry_paths(analysis, surveys, all);
        return analysis;
    }
    EntryEvidence evidence() const {
        Job all = job();
        all.observations = extra.observations;
        return entry_evidence(source, {}, surveys, all);
    }
    EntryPosterior posterior() const {
        const EntryEvidence all = evidence();
        return entry_posterior(all.question, all.outcomes);
    }
    std::vector<TestWorth> worth(const Labour& labour = {}) const {
        const EntryEvidence all = evidence();
        return worth_of_tests(all.question, posterior(), tests_left(all, surveys, extra), source_reached(all), labour);
    }
};
Observation observed(const std::string& what, std::optional<std::string> heard) {
    Observation out;
    out.what = what;
    out.heard = std::move(heard);
    return out;
}

}  // namespace

TEST_CASE("a source's ways in are told with their chances, the likeliest first, and what speaks for and against each", "[paths]") {
    Found one;
    one.add("plain", idling(), -40.0);
    one.add("isolator", idling({Hookup::isolator}), -70.0);
    one.add("antenna", idling({Hookup::antenna_unplugged}), -40.5);
    one.add("strap", idling({Hookup::temporary_ground}), -41.0);
    one.extra.observations = {observed("noise_heard", "gone")};
    one.extra.observations[0].conditions = idling({Hookup::source_isolated});
    const EntryPosterior posterior = one.posterior();
    const EntryEvidence evidence = one.evidence();
    const NoiseAnalysis& analysis = one.find();
    double all = 0;
    for (const EntrySet& set : posterior.sets)
        if (set.probability >= 0.001) all += set.probability;
    REQUIRE(all < 1);   // some were left out: what is told is taken to be all
    double sum = 0;
    std::size_t at = 0, with_evidence = 0;
    bool out_of_order = false;
    for (const EntryPath& path : analysis.entry_paths) {
        const EntrySet& set = posterior.sets.at(at++);
        CHECK(path.source_id == "source-1");
        CHECK(path.paths.size() == (set.second ? 2U : 1U));
        CHECK(path.paths.front() == path_of(set.first));
        if (set.second) CHECK(path.paths.back() == path_of(*set.second));
        const auto mechanism = mechanism_of(set.second && mechanism_of(*set.second) ? *set.second : set.first);
        CHECK(path.mechanism.has_value() == mechanism.has_value());
        if (mechanism) CHECK(*path.mechanism == *mechanism);
        CHECK(path.probability == Approx(set.probability / all));
        sum += path.probability;
        std::vector<std::string> speaks_for, against;
        std::vector<std::pair<double, std::string>> weights;
        if (set.probability >= 0.02)
            for (const EntryOutcome& outcome : evidence.outcomes)
                weights.emplace_back(weight_of(evidence.question, set, outcome), said(outcome, {}).text);
        const auto heavier = [](const auto& a, const auto& b) { return std::abs(a.first) > std::abs(b.first); };
        out_of_order = out_of_order || !std::is_sorted(weights.begin(), weights.end(), heavier);
        std::stable_sort(weights.begin(), weights.end(), heavier);
        for (const auto& [weight, text] : weights)   // what changes the odds by less than a factor of 1.5 is no evidence
            if (std::abs(weight) > 0.4) (weight > 0 ? speaks_for : against).push_back(text);
        REQUIRE(path.evidence_for.size() == speaks_for.size());
        REQUIRE(path.evidence_against.size() == against.size());
        for (std::size_t i = 0; i < speaks_for.size(); ++i) CHECK(path.evidence_for[i].text == speaks_for[i]);
        for (std::size_t i = 0; i < against.size(); ++i) CHECK(path.evidence_against[i].text == against[i]);
        if (!speaks_for.empty() || !against.empty()) ++with_evidence;
    }
    CHECK(posterior.sets.at(at).probability < 0.001);
    CHECK(sum == Approx(1));
    CHECK(with_evidence > 2);
    CHECK(out_of_order);   // the weightiest stands first though it was not made first
    CHECK(with_evidence < at);
    for (const EntryPath& path : analysis.entry_paths)
        if (path.paths.size() == 1 && path.probability > 0.02) CHECK(path.paths.front() != "source_internal");   // no isolator silences that
    CHECK(analysis.tests_made.size() == 4);
    REQUIRE(analysis.dummy_test);
    CHECK(analysis.dummy_test->source_id == "source-1");
    CHECK_FALSE(analysis.cures.empty());
    CHECK(analysis.warnings.empty());
}

TEST_CASE("the next test is the one that tells most for its labour, in the state of the engine in which the noise is loudest", "[paths]") {
    Found one;
    one.add("quieter", idling(), -50.0);
    one.add("plain", idling({Hookup::normal}, 2000), -40.0);
    one.takes.back().conditions.engine = Engine::raised;
    const auto worth = one.worth();
    const EntryPosterior posterior = one.posterior();
    const NextTest& next = one.find().next_test.value();
    CHECK(next.source_id == "source-1");
    CHECK(next.name == facts_of(worth.front().test).name);
    CHECK(next.hands == facts_of(worth.front().test).hands);
    CHECK(next.bits == Approx(worth.front().bits));
    CHECK(next.minutes == worth.front().minutes);
    CHECK(next.field == condition_of(worth.front().test).field);
    CHECK(next.value == condition_of(worth.front().test).value);
    const ReadBy by = facts_of(worth.front().test).read_by;
    CHECK(next.observation == (by == ReadBy::ear || by == ReadBy::meter));
    CHECK(next.engine == Engine::raised);
    CHECK(next.rpm == 2000);
    CHECK(next.why.find("No test of where it gets in is made yet; this one tells most for its labour (") == 0);
    CHECK_FALSE(holds(next.why, "It turns with no engine"));
    CHECK_FALSE(holds(next.why, "reaching the back"));
    // its outcomes of more than 2 %, the likeliest first, and what leads then
    std::vector<TestWorth::Branch> branches = worth.front().branches;
    std::erase_if(branches, [](const TestWorth::Branch& branch) { return branch.chance <= 0.02; });
    std::stable_sort(branches.begin(), branches.end(), [](const auto& a, const auto& b) { return a.chance > b.chance; });
    REQUIRE(next.outcomes.size() == branches.size());
    CHECK(branches.size() < worth.front().branches.size());
    for (std::size_t i = 0; i < branches.size(); ++i) {
        CHECK(next.outcomes[i].chance == Approx(branches[i].chance));
        const auto percent = [](double share) { return std::to_string(std::lround(100 * share)) + " %"; };
        CHECK(next.outcomes[i].text == branches[i].outcome + " (" + percent(branches[i].chance) + "): then " + plain_name(branches[i].leads) +
                                           " leads with " + percent(branches[i].leads.probability));
    }
    Found hum(NoiseKind::mains_hum);
    hum.add("plain", idling(), -40.0);
    CHECK(holds(hum.find().next_test->why, "It turns with no engine; that excludes no ground loop"));
}

TEST_CASE("after a test the next one says what leads so far, and what reaching the source's back takes of its minutes", "[paths]") {
    const auto next = [](bool reached) {
        Found one;
        one.add("plain", idling(), -40.0);
        one.add("isolator", idling({Hookup::isolator}), -70.0);
        if (reached) one.add("link", idling({Hookup::source_shell_link}), -40.0);
        for (const EntryTest test : all_entry_tests())
            if (!facts_of(test).behind_the_source) one.extra.labour_min[std::string(word_of(test))] = 10000;   // what else there is takes too long
        one.extra.labour_min["reach_source"] = 7;
        const EntrySet lead = one.posterior().sets.front();
        const NextTest found = one.find().next_test.value();
        CHECK(found.why.find("So far " + plain_name(lead) + " leads with " + std::to_string(std::lround(100 * lead.probability)) + " %; ") == 0);
        CHECK_FALSE(holds(found.why, "It turns with no engine"));
        return found;
    };
    CHECK(holds(next(false).why, " 7 of its minutes go into reaching the back of the source, once."));
    CHECK_FALSE(holds(next(true).why, "reaching the back"));
    // none where enough is known: a set is at 95 %, or no test that is left tells a tenth of a bit
    Found known;
    known.add("plain", idling(), -40.0);
    for (const Hookup gone : {Hookup::isolator, Hookup::antenna_unplugged, Hookup::dummy_floating, Hookup::unplugged_at_source})
        known.add(std::string(to_word(gone)), idling({gone}), std::nullopt);
    for (const Hookup same : {Hookup::shorted_at_source, Hookup::temporary_lead, Hookup::source_shell_link})
        known.add(std::string(to_word(same)), idling({same}), -40.0);
    known.add("strap", idling({Hookup::temporary_ground}), -46.0);
    const double lead = known.posterior().sets.front().probability;
    const bool told = lead < kSettled && known.worth().front().bits >= kLeastBits;
    CHECK(known.find().next_test.has_value() == told);
    REQUIRE(known.analysis.actions.size() >= 1);
    CHECK(holds(known.analysis.actions.front().why, "the antenna lead"));
}

TEST_CASE("what has no entry has no ways in, and a job without takes none at all", "[paths]") {
    Found hiss(NoiseKind::hiss);
    hiss.add("plain", idling(), -40.0);
    CHECK(hiss.find().entry_paths.empty());
    CHECK_FALSE(hiss.analysis.next_test);
    CHECK_FALSE(hiss.analysis.dummy_test);
    Found none;
    none.extra.observations = {observed("amplifier_wakes", "only_with_lead")};
    CHECK(none.find().entry_paths.empty());
    CHECK(none.analysis.actions.empty());
}

TEST_CASE("of several sources each has its ways; the first that is open is asked for a test, the three loudest for cures", "[paths]") {
    Found four;
    four.add("plain", idling(), -40.0);
    four.add("elsewhere", idling({Hookup::isolator}, 2000), std::nullopt);   // a test that is held against nothing
    for (int i = 1; i <= 4; ++i) {
        NoiseSource source = four.source;
        source.id = "source-" + std::to_string(i);
        four.analysis.noise_sources.push_back(source);
    }
    const NoiseAnalysis& analysis = four.find();
    CHECK(analysis.next_test->source_id == "source-1");
    CHECK(analysis.dummy_test->source_id == "source-1");
    for (int i = 1; i <= 4; ++i) {
        const std::string id = "source-" + std::to_string(i);
        double sum = 0;
        for (const EntryPath& path : analysis.entry_paths) sum += path.source_id == id ? path.probability : 0.0;
        CHECK(sum == Approx(1));
        CHECK(std::any_of(analysis.cures.begin(), analysis.cures.end(), [&](const Cure& cure) { return cure.source_id == id; }) == (i < 4));
    }
    REQUIRE(analysis.warnings.size() == 1);   // one word is enough
    CHECK(analysis.warnings[0].code == "test_unmatched");
}

TEST_CASE("what is to be done comes before what was asked for already, a broken alternator first; nothing is asked for twice", "[paths]") {
    Found one;
    one.add("plain", idling(), -40.0);
    one.add("out", idling({Hookup::isolator}), std::nullopt);
    one.add("lead", idling({Hookup::temporary_lead}), std::nullopt);
    one.add("dummy", idling({Hookup::dummy_floating}), std::nullopt);
    one.add("source", idling({Hookup::shorted_at_source}), -40.0);
    one.analysis.actions = {{"Before.", "", "", std::nullopt, std::nullopt}};
    one.analysis.health = {{"diode_open", "Its sixth stands out.", 0.9}};
    one.analysis.noise_sources = {one.source, one.source};   // found twice, what it asks for is asked once
    const NoiseAnalysis& analysis = one.find();
    REQUIRE(analysis.actions.size() >= 2);
    CHECK(analysis.actions.front().action.find("Have the alternator repaired first") == 0);
    CHECK(analysis.actions.back().action == "Before.");
    for (std::size_t i = 0; i < analysis.actions.size(); ++i)
        for (std::size_t j = i + 1; j < analysis.actions.size(); ++j) CHECK(analysis.actions[i].action != analysis.actions[j].action);
    const auto alike = [](NoiseAnalysis& two) { two.noise_sources[1].id = "source-2"; };
    Found other;
    for (const TakeSurvey& survey : one.surveys) {
        std::optional<double> level;
        for (const LevelInTake& each : one.source.levels)
            if (each.take == survey.take->file) level = each.level_dbfs;
        other.add(survey.take->file, survey.take->conditions, level);
    }
    other.analysis.noise_sources = {other.source, other.source};
    alike(other.analysis);
    // of another source the same is asked as well
    CHECK(other.find().actions.size() == 2 * (one.analysis.actions.size() - 2));
}

TEST_CASE("an amplifier that wakes only with the lead plugged in is mended before anything else counts", "[paths]") {
    const auto found = [](std::vector<Observation> observations) {
        Found one;
        one.add("plain", idling(), -40.0);
        one.analysis.health = {{"phase_open", "", 0.9}};
        one.analysis.actions = {{"Before.", "", "", std::nullopt, std::nullopt}};
        one.extra.observations = std::move(observations);
        return one.find();
    };
    const NoiseAnalysis stopped = found({observed("amplifier_wakes", "by_itself"), observed("amplifier_wakes", "only_with_lead"),
                                         observed("amplifier_wakes", std::nullopt), observed("noise_heard", "same")});
    CHECK_FALSE(stopped.next_test);
    REQUIRE(stopped.health.size() == 2);
    CHECK(stopped.health.front().fault == "amplifier_ground_bad");
    CHECK(stopped.health.front().confidence == 0.95);
    REQUIRE(stopped.actions.size() == 4);   // then the alternator, the set-up that may still make it, and what was there
    CHECK(stopped.actions.front().action.find("Stop: ") == 0);
    CHECK(holds(stopped.actions.front().why, "--observe amplifier_wakes=by_itself"));
    CHECK(stopped.actions.front().source_id.empty());
    const std::vector<Observation> mended = {observed("amplifier_wakes", "only_with_lead"), observed("amplifier_wakes", "by_itself")};
    for (const auto& observations : {std::vector<Observation>{}, mended}) {
        const NoiseAnalysis goes_on = found(observations);
        CHECK(goes_on.next_test);
        CHECK(goes_on.health.size() == 1);
        CHECK(goes_on.actions.size() == 3);
    }
}

TEST_CASE("after a change it is said what still rests on takes from before it; of what is gone nothing is asked for", "[paths]") {
    const auto changed = [](std::optional<double> after_db, bool tested_again) {
        Found one;
        one.add("plain", idling(), -40.0);
        one.add("isolator", idling({Hookup::isolator}), -70.0);
        one.add("after", idling(), after_db);
        one.takes.back().after_change = "ground remade";
        if (tested_again) {
            one.add("isolator after", idling({Hookup::isolator}), -72.0);
            one.takes.back().after_change = "ground remade";
        }
        return one.find();
    };
    const NoiseAnalysis resting = changed(-45, false);
    REQUIRE(resting.warnings.size() == 1);
    CHECK(resting.warnings[0].code == "tests_before_change");
    CHECK(resting.warnings[0].text.find("source-1: no test of where it gets in was made since \"ground remade\"") == 0);
    CHECK_FALSE(resting.warnings[0].take);
    CHECK(resting.next_test);
    CHECK_FALSE(resting.cures.empty());
    REQUIRE(resting.changes.size() == 1);
    CHECK(resting.changes[0].change == "ground remade");
    CHECK(changed(-45, true).warnings.empty());
    const NoiseAnalysis gone = changed(std::nullopt, false);
    CHECK_FALSE(gone.entry_paths.empty());
    CHECK(gone.warnings.empty());
    CHECK_FALSE(gone.next_test);
    CHECK(gone.cures.empty());
    CHECK(gone.actions.empty());
}
