#include "../../../src/diagnose/entry/tests_made.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>

using namespace hushtrace;

namespace {

EntryOutcome outcome(EntryTest test, double change, bool at_most, std::vector<std::string> takes) {
    EntryOutcome out;
    out.test = test;
    out.change = change;
    out.at_most = at_most;
    out.takes = std::move(takes);
    return out;
}

/// A loop: an isolator silences it, another lead leaves it as it is, the strap lowers it, and the ground drops 0.3 V.
struct Case {
    Job job;
    NoiseSource source;
    EntryEvidence evidence;
    Case() {
        source.id = "whine-1";
        for (const char* file : {"normal", "isolator", "normal_again", "lead", "strap", "isolator_again"}) {
            Take take;
            take.file = file;
            job.takes.push_back(take);
        }
        Observation drop;
        drop.what = "ground_drop";
        drop.value = 0.3;
        job.observations = {drop};
        EntryOutcome meter = outcome(EntryTest::ground_drop, std::log10(0.3), false, {});
        meter.sd = 0.1;
        meter.observations = {0};
        // not in the order in which they were made; takes that repeat a test don't move it
        evidence.outcomes = {meter, outcome(EntryTest::temporary_ground, -11.0, false, {"normal", "strap", "normal_again"}),
                             outcome(EntryTest::temporary_lead, 0.5, false, {"normal", "lead", "normal_again"}),
                             outcome(EntryTest::isolator, kToFloor_db, true, {"normal", "isolator", "normal_again", "isolator_again"})};
    }
};

double chance_of(const EntryPosterior& posterior, EntryWay way) {
    double sum = 0;
    for (const EntrySet& set : posterior.sets)
        if (set.has(way)) sum += set.probability;
    return sum;
}

}  // namespace

TEST_CASE("tests are told in the order in which they were made, the meter last", "[entry]") {
    const Case c;
    NoiseAnalysis analysis;
    add_tests_made(analysis, c.source, c.evidence, c.job);
    REQUIRE(analysis.tests_made.size() == 4);
    const std::vector<EntryTest> order = {EntryTest::isolator, EntryTest::temporary_lead, EntryTest::temporary_ground, EntryTest::ground_drop};
    for (std::size_t t = 0; t < order.size(); ++t) {
        CHECK(analysis.tests_made[t].name == facts_of(order[t]).name);
        CHECK(analysis.tests_made[t].source_id == "whine-1");
    }
    CHECK(analysis.tests_made[0].outcome.takes.size() == 4);
    CHECK(analysis.tests_made[3].outcome.value == Approx(0.3));
}

TEST_CASE("each test starts where the one before ended; the first at the chances before any, the last at those after all", "[entry]") {
    const Case c;
    NoiseAnalysis analysis;
    add_tests_made(analysis, c.source, c.evidence, c.job);
    std::map<std::string, double> before, after;
    const EntryPosterior none = entry_posterior(c.evidence.question, {}), all = entry_posterior(c.evidence.question, c.evidence.outcomes);
    for (std::size_t w = 0; w < kEntryWays; ++w) {
        const auto way = static_cast<EntryWay>(w);
        before[std::string(plain_name(way))] = chance_of(none, way);
        after[std::string(plain_name(way))] = chance_of(all, way);
    }
    for (const TestMade& test : analysis.tests_made) {
        for (const TestMade::Way& way : test.ways) {
            INFO(test.name << ", " << way.name);
            CHECK(way.before == Approx(before[way.name]).margin(1e-9));
            before[way.name] = way.after;
            CHECK((way.before >= 0.02 || way.after >= 0.02));
            const bool said = std::find(test.ruled_out.begin(), test.ruled_out.end(), way.name) != test.ruled_out.end();
            CHECK(said == (way.before >= 0.02 && way.after < 0.02));
        }
        CHECK(std::is_sorted(test.ways.begin(), test.ways.end(), [](const auto& a, const auto& b) { return a.after > b.after; }));
    }
    for (const TestMade::Way& way : analysis.tests_made.back().ways) CHECK(way.after == Approx(after[way.name]).margin(1e-9));
    CHECK(analysis.tests_made.back().ways.front().name == "a ground loop");
    // what an isolator can't stop (docs/entry-paths.md) is ruled out by it
    const auto& gone = analysis.tests_made.front().ruled_out;
    CHECK(std::find(gone.begin(), gone.end(), "the source itself") != gone.end());
    CHECK(std::find(gone.begin(), gone.end(), "a ground loop") == gone.end());
}

TEST_CASE("no test, no row; a take that the job doesn't know comes last of the takes", "[entry]") {
    Case c;
    NoiseAnalysis analysis;
    add_tests_made(analysis, c.source, EntryEvidence{}, c.job);
    CHECK(analysis.tests_made.empty());
    c.evidence.outcomes.push_back(outcome(EntryTest::antenna_unplugged, 0.0, false, {"normal", "elsewhere"}));
    add_tests_made(analysis, c.source, c.evidence, c.job);
    REQUIRE(analysis.tests_made.size() == 5);
    CHECK(analysis.tests_made[3].name == facts_of(EntryTest::antenna_unplugged).name);
    CHECK(analysis.tests_made[4].outcome.unit == "V");
}
