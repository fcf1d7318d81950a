#include "../../../src/diagnose/entry/vehicle_states.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "diagnose/made_survey.hpp"

using namespace hushtrace;

namespace {

/// Hum at 50 Hz in the takes that were given a level; noise of -97 dBFS in all.
struct Made {
    std::list<Take> takes;
    std::list<TakeSurvey> surveys;
    Job job;
    NoiseSource hum;
    NoiseAnalysis analysis;
    explicit Made(NoiseKind kind = NoiseKind::mains_hum) {
        hum.id = "hum-1";
        hum.kind = kind;
        hum.frequency_hz = 50.0;
    }
    Take& add(const std::string& file, std::optional<double> level_dbfs, std::optional<std::string> change = std::nullopt,
              Engine engine = Engine::off) {
        takes.push_back(made_take(file, engine, {Channel::left}));
        takes.back().after_change = std::move(change);
        surveys.push_back(quiet_survey(takes.back(), 1.0, 4000.0));
        surveys.back().channels[0].hiss.all.unweighted = {1e-10, 1e-12, {}};
        if (level_dbfs) {
            hum.takes.push_back(file);
            hum.levels.push_back({file, Channel::left, level_dbfs, std::nullopt, 0.3, std::nullopt, LimitedBy::nothing});
            hum.level_dbfs = std::max(hum.level_dbfs.value_or(-999.0), *level_dbfs);
        }
        return takes.back();
    }
    std::vector<VehicleState> states() const { return vehicle_states(surveys, job); }
    std::optional<LevelsAround> around(std::size_t after) const { return levels_around(hum, states(), after, surveys); }
};

constexpr double kNotFound_db = -96.99 - 28.0;   // 28 dB under the hiss of 10 lg 2e-10: from there hum is found

}  // namespace

TEST_CASE("takes go by the change before them, observations are struck out in other states", "[states]") {
    Made made;
    made.add("a", -50);
    made.add("b", -50, "ground remade");
    made.add("c", -50);
    made.add("d", -50, "lead renewed");
    made.add("e", -50, "ground remade");
    for (const auto& change : {std::optional<std::string>(), std::optional<std::string>("ground remade")}) {
        Observation one;
        one.what = "ground_drop";
        one.after_change = change;
        made.job.observations.push_back(one);
    }
    made.job.observations.push_back({});
    made.job.observations.back().declined = true;
    const auto states = made.states();
    REQUIRE(states.size() == 3);
    CHECK_FALSE(states[0].change);
    CHECK(states[0].takes == std::set<std::string>{"a", "c"});
    CHECK(states[1].change == std::optional<std::string>("ground remade"));
    CHECK(states[1].takes == std::set<std::string>{"b", "e"});
    CHECK(states[2].takes == std::set<std::string>{"d"});
    const std::vector<std::vector<bool>> declined = {{false, true, true}, {true, false, true}, {true, true, true}};
    for (std::size_t s = 0; s < 3; ++s)
        for (std::size_t o = 0; o < 3; ++o) {
            CHECK(states[s].job.observations[o].declined == declined[s][o]);
            CHECK_FALSE(states[s].job.observations[o].after_change);
        }
}

TEST_CASE("a source may be there where it was found, or where no like take was made", "[states]") {
    Made made;
    made.add("a", -50);
    made.add("b", std::nullopt, "ground remade");
    CHECK(may_be_there(made.hum, made.states()[0], made.surveys));
    CHECK_FALSE(may_be_there(made.hum, made.states()[1], made.surveys));   // looked for in like conditions
    made.takes.back().conditions.loads = {"fan"};
    CHECK(may_be_there(made.hum, made.states()[1], made.surveys));         // other conditions
    made.takes.back().conditions.loads.clear();
    made.surveys.back().channels[0].silent = true;
    CHECK(may_be_there(made.hum, made.states()[1], made.surveys));         // silence tells nothing
    made.surveys.back().channels[0].silent = false;
    made.hum.levels.push_back({"b", Channel::left, std::nullopt, std::nullopt, 0, std::nullopt, LimitedBy::nothing});
    CHECK_FALSE(may_be_there(made.hum, made.states()[1], made.surveys));   // digital silence is no level
    made.hum.levels.back().level_dbfs = -70.0;
    CHECK(may_be_there(made.hum, made.states()[1], made.surveys));
    made.hum.levels.erase(made.hum.levels.begin());
    made.hum.levels.back().level_dbfs.reset();
    CHECK(may_be_there(made.hum, made.states()[1], made.surveys));         // never found at all
}

TEST_CASE("a change is the level after it less that before, in like takes", "[states]") {
    Made made;
    made.add("a", -50);
    made.add("b", -58, "ground remade");
    auto around = made.around(1);
    REQUIRE(around);
    CHECK(around->before == "a");
    CHECK(around->after == "b");
    CHECK(around->change_db == Approx(-8.0));
    CHECK(around->sd_db == Approx(std::sqrt(2.0 * 0.3 * 0.3 + 2.0)));   // both readings', and 1 dB each that fixed noise repeats to
    CHECK_FALSE(around->at_most);
    CHECK_FALSE(made.around(0));   // nothing before the first
    // means of like takes; the last one stands for them
    made.add("c", -52);
    made.add("d", -61, "ground remade");
    made.add("e", -64, "ground remade");
    around = made.around(1);
    REQUIRE(around);
    CHECK(around->before == "c");
    CHECK(around->after == "e");
    CHECK(around->change_db == Approx(-61.0 + 51.0));
    CHECK(around->sd_db == Approx(std::sqrt(0.09 / 2.0 + 1.0 / 2.0 + 0.09 / 3.0 + 1.0 / 3.0)));
    // a whine at idle repeats to 4 dB
    Made whine(NoiseKind::alternator_whine);
    whine.add("a", -50, std::nullopt, Engine::idle);
    whine.add("b", -58, "ground remade", Engine::idle);
    CHECK(whine.around(1).value_or(LevelsAround{}).sd_db == Approx(std::sqrt(2.0 * 0.3 * 0.3 + 32.0)));
}

TEST_CASE("what isn't found after a change fell by so much at least", "[states]") {
    Made made;
    made.add("a", -50);
    made.add("b", std::nullopt, "ground remade");
    const auto gone = made.around(1);
    REQUIRE(gone);
    CHECK(gone->at_most);
    CHECK(gone->change_db == Approx(kNotFound_db + 50.0).margin(0.01));
    CHECK(gone->sd_db == Approx(std::sqrt(0.3 * 0.3 + 1.0 + 2.0 * 2.0)));   // what it lies below doesn't repeat
    // a take in which it is found outweighs those in which it isn't, whichever comes first
    made.add("c", -70, "ground remade");
    made.add("d", std::nullopt, "ground remade");
    const auto found = made.around(1);
    REQUIRE(found);
    CHECK_FALSE(found->at_most);
    CHECK(found->after == "c");
    CHECK(found->change_db == Approx(-20.0));
    CHECK(found->sd_db == Approx(std::sqrt(2.0 * 0.09 + 2.0)));
    // not found before: nothing to hold it against
    Made new_one;
    new_one.add("a", std::nullopt);
    new_one.add("b", -60, "ground remade");
    CHECK_FALSE(new_one.around(1));
}

TEST_CASE("a change is read where the source was loudest before, against the latest state with a like take", "[states]") {
    Made made;
    made.add("a", -60);
    made.add("b", -50).conditions.loads = {"fan"};
    made.add("c", -61, "x");
    made.add("d", -56, "x").conditions.loads = {"fan"};
    const auto loudest = made.around(1);
    REQUIRE(loudest);
    CHECK(loudest->before == "b");
    CHECK(loudest->change_db == Approx(-6.0));
    std::swap(made.surveys.front(), *std::next(made.surveys.begin()));   // in whichever order they were made
    std::swap(made.surveys.back(), *std::prev(made.surveys.end(), 2));
    CHECK(made.around(1).value_or(LevelsAround{}).before == "b");
    made.add("e", -70, "y");
    const auto latest = made.around(2);
    REQUIRE(latest);
    CHECK(latest->before == "c");
    CHECK(latest->change_db == Approx(-9.0));
    made.add("f", -70, "z").conditions.loads = {"lamp"};
    CHECK_FALSE(made.around(3));   // no like take at all
    // the state before has none: one before that
    made.takes.back().conditions.loads.clear();
    made.takes.back().conditions.loads = {"fan"};
    const auto earlier = made.around(3);
    REQUIRE(earlier);
    CHECK(earlier->before == "d");
    CHECK(earlier->change_db == Approx(-14.0));
    // a take with a probe on the supply is no like one
    made.takes.back().channels.push_back(Channel::supply);
    CHECK_FALSE(made.around(3));
}

TEST_CASE("where a source gets in rests on the last state with a test, and on what was mended since", "[states]") {
    Made made;
    made.add("a", -50);
    made.add("b", -70).conditions.hookup = {Hookup::isolator};
    made.add("c", -58, "ground remade, new bolt");
    made.add("d", -59, "lead renewed");   // like no test
    const auto standing = [&](std::size_t state) { return standing_in(state, made.hum, made.states(), made.analysis, made.surveys); };
    const Standing first = standing(0);
    CHECK(first.rests_on == 0);
    REQUIRE(first.evidence.outcomes.size() == 1);
    CHECK(first.evidence.outcomes[0].test == EntryTest::isolator);
    CHECK(first.evidence.outcomes[0].change == Approx(-20.0));
    CHECK_FALSE(first.posterior.sets.empty());
    for (const std::size_t state : {1U, 2U}) {
        CAPTURE(state);
        const Standing later = standing(state);
        CHECK(later.rests_on == 0);
        REQUIRE(later.evidence.outcomes.size() == 2);
        const EntryOutcome& done = later.evidence.outcomes[1];
        CHECK(done.test == EntryTest::temporary_ground);
        CHECK(done.change == Approx(-8.0));
        CHECK(done.sd == Approx(std::sqrt(2.0 * 0.09 + 2.0 + 36.0)));   // 6 dB: it may have been done badly
        CHECK_FALSE(done.at_most);
        CHECK(done.takes == std::vector<std::string>{"a", "c"});
        CHECK(done.done == std::optional<std::string>("ground remade, new bolt"));
        CHECK(later.posterior.sets.front().probability ==
              Approx(entry_posterior(later.evidence.question, later.evidence.outcomes).sets.front().probability));
    }
    // a test in a later state begins anew
    made.add("e", -75, "lead renewed").conditions.hookup = {Hookup::isolator};
    const Standing anew = standing(2);
    CHECK(anew.rests_on == 2);
    REQUIRE(anew.evidence.outcomes.size() == 1);
    CHECK(anew.evidence.outcomes[0].change == Approx(-16.0));
    CHECK(standing(1).rests_on == 0);
    made.add("f", -75, "ground remade, new bolt").conditions.hookup = {Hookup::isolator};
    CHECK(standing(1).rests_on == 1);
    CHECK(standing(1).evidence.outcomes.size() == 1);   // what was done before that test is in it
}

TEST_CASE("a meter, shorted inputs and two sides alone don't say where a source gets in", "[states]") {
    Made made;
    made.add("a", -50);
    made.add("b", -70).conditions.hookup = {Hookup::isolator};
    made.add("c", -58, "lead renewed");
    made.add("d", -99, "lead renewed").conditions.hookup = {Hookup::inputs_shorted};
    Observation drop;
    drop.what = "ground_drop";
    drop.value = 0.3;
    drop.after_change = "lead renewed";
    made.job.observations = {drop};
    CHECK(standing_in(1, made.hum, made.states(), made.analysis, made.surveys).rests_on == 0);
    // nothing tells: the first state it is
    Made none;
    none.add("a", -50);
    none.add("b", -58, "ground remade");
    const Standing standing = standing_in(1, none.hum, none.states(), none.analysis, none.surveys);
    CHECK(standing.rests_on == 0);
    REQUIRE(standing.evidence.outcomes.size() == 1);
    CHECK(standing.evidence.outcomes[0].done);
    // an unlike take after it says nothing of what was done
    none.takes.back().conditions.loads = {"fan"};
    CHECK(standing_in(1, none.hum, none.states(), none.analysis, none.surveys).evidence.outcomes.empty());
    Made gone;
    gone.add("a", -50);
    gone.add("b", std::nullopt, "isolator fitted");
    const Standing at_most = standing_in(1, gone.hum, gone.states(), gone.analysis, gone.surveys);
    REQUIRE(at_most.evidence.outcomes.size() == 1);
    CHECK(at_most.evidence.outcomes[0].at_most);
    CHECK(at_most.evidence.outcomes[0].test == EntryTest::isolator);
}
