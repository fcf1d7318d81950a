#include "../../../src/diagnose/entry/entry_pairs.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "diagnose/entry_job.hpp"

using namespace hushtrace;
using namespace hushtrace::entry_job;

namespace {

/// Takes held against each other; each with the level of a source that turns with the engine.
struct Pairs : EntryJob {
    EntryEvidence evidence;
    std::vector<LevelHere> levels;
    explicit Pairs(bool follows_engine = true) { evidence.question.follows_engine = follows_engine; }
    Conditions& with(const std::string& file, const Conditions& conditions, double level_db, bool at_most = false, double sd_db = 1) {
        LevelHere here;
        here.survey = &add(file, conditions, std::nullopt);
        here.level_db = level_db;
        here.sd_db = sd_db;
        here.at_most = at_most;
        levels.push_back(here);
        return takes.back().conditions;
    }
    const EntryEvidence& held() {
        evidence.outcomes.clear();
        evidence.made.clear();
        evidence.warnings.clear();
        add_pairs(levels, evidence);
        return evidence;
    }
    const EntryOutcome* of(EntryTest test) {
        held();
        return outcome_of(evidence, test);
    }
};
const Hookup kIsolator = Hookup::isolator;
using Tests = std::vector<EntryTest>;

}  // namespace

TEST_CASE("a test's outcome is the level with it less that without", "[entry]") {
    Pairs p;
    p.with("plain", idling(), -40, false, 0.5);
    p.with("isolator", idling({kIsolator}), -52, false, 0.8);
    const EntryOutcome* one = p.of(EntryTest::isolator);
    REQUIRE(one);
    CHECK(p.evidence.outcomes.size() == 1);
    CHECK(p.evidence.made == std::set<EntryTest>{EntryTest::isolator});
    CHECK(one->also.empty());
    CHECK(one->change == -12);
    CHECK(*one->plain_db == -40);
    CHECK_FALSE(one->at_most);
    CHECK_FALSE(one->at_output);
    CHECK(one->takes == std::vector<std::string>{"plain", "isolator"});
    // idling takes stray by 4 dB each: two of them by 4 sqrt 2
    CHECK(one->sd == Approx(std::hypot(0.5, 0.8, 4 * std::sqrt(2.0))));
    p.levels[1].at_most = true;
    one = p.of(EntryTest::isolator);
    CHECK(one->at_most);
    CHECK(one->change == -12);
    CHECK(one->sd == Approx(std::hypot(0.5, 0.8, 4.0)));   // a bound strays but once
    p.levels[1].level_db = -70;
    CHECK(p.of(EntryTest::isolator)->change == -25);   // to the floor is to the floor
    p.levels[1].at_most = false;
    CHECK(p.of(EntryTest::isolator)->change == -30);
    p.levels[1].level_db = -75;
    CHECK(p.of(EntryTest::isolator)->change == -31);   // no deeper fall is told
    p.levels[1].level_db = -30;
    CHECK(p.of(EntryTest::isolator)->change == 10);
    p.levels[0].at_most = true;   // nothing to be held against
    CHECK_FALSE(p.of(EntryTest::isolator));
}

TEST_CASE("takes stray by what is usual, and by what those at hand show", "[entry]") {
    Conditions raised = idling();
    raised.engine = Engine::raised;
    CHECK(repeats_db(idling(), true) == 4);
    CHECK(repeats_db(raised, true) == 2);
    CHECK(repeats_db(idling(), false) == 1);
    CHECK(repeats_db(raised, false) == 1);
    const auto sd = [](double second_db, bool follows = true) {
        Pairs p(follows);
        p.with("plain", idling(), -40);
        p.with("again", idling(), second_db);
        p.with("isolator", idling({kIsolator}), -55);
        const EntryOutcome* one = p.of(EntryTest::isolator);
        REQUIRE(one);
        CHECK(one->change == Approx(-55 - 0.5 * (second_db - 40)));
        CHECK(one->takes == std::vector<std::string>{"plain", "isolator", "again"});
        return one->sd;
    };
    // each reading's sd; of two the mean's, but they share a take: 0.7 of it at least, which is a little less than sqrt 1/2
    const auto joint = [](double strays) { return std::hypot(1.0, 1.0, std::sqrt(2.0) * strays) * std::sqrt(0.5); };
    // the usual 4 dB count as three takes more: (3 * 16 + apart^2 / 2) / 4
    CHECK(sd(-40) == Approx(joint(std::sqrt(12.0))));
    CHECK(sd(-46) == Approx(joint(std::sqrt((48 + 18) / 4.0))));
    CHECK(sd(-40 - 16.9) == Approx(joint(std::sqrt((48 + 16.9 * 16.9 / 2) / 4))));
    CHECK(sd(-40 - 17.1) == Approx(8.55));   // three times 4 sqrt 2 apart is no repeating: they contradict each other
    CHECK(sd(-40 - 4.2, false) == Approx(joint(std::sqrt((3 + 4.2 * 4.2 / 2) / 4))));
    const auto beside = [](double other_db, bool follows, bool at_most = false) {   // of another test, beside two takes of one
        Pairs p(follows);
        p.with("plain", idling(), -40);
        p.with("lead", idling({Hookup::temporary_lead}), -45);
        p.with("isolator", idling({kIsolator}), -50);
        p.with("again", idling({kIsolator}), other_db, at_most);
        return p.of(EntryTest::temporary_lead)->sd;
    };
    CHECK(beside(-66.9, true) == Approx(std::hypot(1.0, 1.0, std::sqrt(2 * (48 + 16.9 * 16.9 / 2) / 4))));
    CHECK(beside(-67.1, true) == Approx(std::hypot(1.0, 1.0, std::sqrt(2.0 * 16))));
    CHECK(beside(-54.2, false) == Approx(std::hypot(1.0, 1.0, std::sqrt(2 * (3 + 4.2 * 4.2 / 2) / 4))));
    CHECK(beside(-54.3, false) == Approx(std::hypot(1.0, 1.0, std::sqrt(2.0))));
    CHECK(beside(-54.0, true, true) == Approx(std::hypot(1.0, 1.0, std::sqrt(2.0 * 16))));   // a bound repeats nothing
    // many that repeat well stray by half a decibel at the least
    Pairs many(false);
    for (int i = 0; i < 6; ++i) many.with(std::to_string(i), idling(), -40);
    many.with("isolator", idling({kIsolator}), -50);
    CHECK(many.of(EntryTest::isolator)->sd == Approx(0.7 * std::hypot(1.0, 1.0, std::sqrt(2.0) * 0.5)));
}

TEST_CASE("takes of one test are one reading, weighed by how sure each is; what bounds it gives way to what shows it", "[entry]") {
    Pairs p;
    p.with("plain", idling(), -40, false, 0);
    p.with("one", idling({kIsolator}), -50, false, 1);
    p.with("other", idling({kIsolator}), -56, false, 8);
    const EntryOutcome* one = p.of(EntryTest::isolator);
    // the two of one kind differ by 6 dB: (3 * 16 + 18) / 4
    const double apart = std::sqrt(2 * 16.5), a = std::hypot(1.0, apart), b = std::hypot(8.0, apart);
    CHECK(one->change == Approx(-(10 / (a * a) + 16 / (b * b)) / (1 / (a * a) + 1 / (b * b))));
    CHECK(one->sd == Approx(0.7 * b));
    CHECK(p.evidence.outcomes.size() == 1);
    CHECK(p.evidence.warnings.empty());
    p.levels[2].at_most = true;
    CHECK(p.of(EntryTest::isolator)->change == -10);
    CHECK_FALSE(p.of(EntryTest::isolator)->at_most);
    CHECK(p.of(EntryTest::isolator)->takes == std::vector<std::string>{"plain", "one"});
    p.levels[1].at_most = true;   // of bounds the lower
    CHECK(p.of(EntryTest::isolator)->change == -16);
    CHECK(p.of(EntryTest::isolator)->at_most);
    // apart by more than three times what two takes stray, they contradict each other: 3 * 4 * sqrt 2 = 16.97
    p.levels[1].at_most = p.levels[2].at_most = false;
    p.levels[2].level_db = -66.9;
    CHECK(p.of(EntryTest::isolator)->sd < 10);
    CHECK(p.evidence.warnings.empty());
    p.levels[2].level_db = -67;
    p.levels[2].sd_db = 1;
    CHECK(p.of(EntryTest::isolator)->sd == Approx(8.5));   // half of what they lie apart
    REQUIRE(p.evidence.warnings.size() == 1);
    CHECK(p.evidence.warnings[0].code == "test_contradicts");
    CHECK(p.evidence.warnings[0].take == "other");
    CHECK(p.evidence.warnings[0].text.find("Takes with an isolating transformer in the lead contradict each other: -27 to -10 dB.") == 0);
    Pairs fixed(false);
    fixed.with("plain", idling(), -40);
    fixed.with("one", idling({kIsolator}), -50);
    fixed.with("other", idling({kIsolator}), -54.3);   // of other noise 3 * sqrt 2 = 4.24
    CHECK(fixed.of(EntryTest::isolator));
    CHECK(fixed.evidence.warnings.size() == 1);
    fixed.levels[2].level_db = -54.2;
    CHECK(fixed.held().warnings.empty());
}

TEST_CASE("turned down, noise follows the volume or it doesn't", "[entry]") {
    const auto change = [](double to, double by_db) {
        Pairs p;
        p.with("plain", idling(), -40).volume = 20;
        p.with("down", idling(), -40 + by_db).volume = to;
        const EntryOutcome* one = p.of(EntryTest::volume_zero);
        REQUIRE(one);
        return one->change;
    };
    CHECK(change(10, -3.9) == Approx(-3.9));
    CHECK(change(10, -4.1) == -25);
    CHECK(change(0, -4.1) == Approx(-4.1));
    CHECK(change(0, -20) == Approx(-20));
    Pairs both;   // together with another test it says less
    both.with("plain", idling(), -40).volume = 20;
    both.with("down", idling({kIsolator}), -50).volume = 10;
    both.held();
    REQUIRE(both.evidence.outcomes.size() == 1);
    CHECK(both.evidence.outcomes[0].test == EntryTest::volume_zero);
    CHECK(both.evidence.outcomes[0].also == Tests{EntryTest::isolator});
    CHECK(both.evidence.outcomes[0].change == -10);
    CHECK(both.evidence.made.empty());   // neither was made by itself
}

TEST_CASE("takes are held against each other where all else is alike", "[entry]") {
    const auto held = [](auto&& change, bool follows = true) {
        Pairs p(follows);
        p.with("plain", idling(), -40);
        p.with("isolator", idling({kIsolator}), -50);
        change(p.takes.back());
        return p.of(EntryTest::isolator) != nullptr;
    };
    CHECK(held([](Take&) {}));
    CHECK_FALSE(held([](Take& one) { one.after_change = "lead rerouted"; }));
    CHECK_FALSE(held([](Take& one) { one.channels.push_back(Channel::supply); }));   // a probe may make a loop of its own
    CHECK_FALSE(held([](Take& one) { one.conditions.point = Point::amp_output; }));
    CHECK_FALSE(held([](Take& one) { one.conditions.rpm = 2000; }));
    CHECK(held([](Take& one) { one.conditions.rpm = 2000; }, false));
    CHECK_FALSE(held([](Take& one) { one.conditions.engine = Engine::off; }, false));
    // a pair of its own in each
    Pairs p;
    p.with("plain", idling(), -40);
    p.with("isolator", idling({kIsolator}), -50);
    p.with("after", idling(), -60);
    p.takes.back().after_change = "lead rerouted";
    p.with("isolator after", idling({kIsolator}), -64);
    p.takes.back().after_change = "lead rerouted";
    CHECK(p.of(EntryTest::isolator)->change == Approx(-7));
    Pairs output;
    output.with("plain", idling(), -40).point = Point::amp_output;
    output.with("isolator", idling({kIsolator}), -50).point = Point::amp_output;
    CHECK(output.of(EntryTest::isolator)->at_output);
    output.with("input", idling(), -60);
    output.with("isolator at input", idling({kIsolator}), -75);
    output.held();
    REQUIRE(output.evidence.outcomes.size() == 2);   // one each
    CHECK(output.evidence.outcomes[0].change == -15);
    CHECK_FALSE(output.evidence.outcomes[0].at_output);
    CHECK(output.evidence.outcomes[1].change == -10);
    // inputs shorted: whatever the engine does
    Conditions floor;
    floor.hookup = {Hookup::inputs_shorted};
    Pairs shorted;
    shorted.with("floor", floor, -90);
    shorted.with("plain", idling(), -40);
    CHECK(shorted.of(EntryTest::inputs_shorted)->change == -31);
    CHECK(shorted.held().warnings.empty());
    shorted.takes.front().conditions.engine = Engine::idle;   // or does the same
    CHECK(shorted.of(EntryTest::inputs_shorted)->sd == Approx(std::hypot(1.0, 1.0, std::sqrt(2.0) * 4)));
    // noise that turns with the engine is held against no take with it off
    Conditions off;
    Conditions off_isolated;
    off_isolated.hookup = {kIsolator};
    Pairs rest, fixed(false);
    for (Pairs* one : {&rest, &fixed}) {
        one->with("plain", off, -40);
        one->with("isolator", off_isolated, -50);
    }
    CHECK_FALSE(rest.of(EntryTest::isolator));
    CHECK(fixed.of(EntryTest::isolator));
}

TEST_CASE("the take that most others differ from by tests is the one they are held against", "[entry]") {
    // two of three were made with the charger pulled: they are what the one without a test is held against
    Pairs p;
    p.with("charger", idling(), -30).attached = {{"charger", PoweredFrom::vehicle}};
    p.with("plain", idling(), -40);
    p.with("isolator", idling({kIsolator}), -50);
    p.held();
    CHECK(p.evidence.made == std::set<EntryTest>{EntryTest::device_unplugged});   // the isolator's take has two tests in it
    CHECK(outcome_of(p.evidence, EntryTest::device_unplugged)->change == -10);
    // of two that as many differ from, the louder
    Pairs two;
    two.with("one", idling(), -45).loads = {"lights"};
    two.with("other", idling(), -40).loads = {"fan"};
    two.with("one isolated", idling({kIsolator}), -52).loads = {"lights"};
    two.with("other isolated", idling({kIsolator}), -55).loads = {"fan"};
    CHECK(two.of(EntryTest::isolator)->change == -55 + 40);
    two.levels[0].level_db = -39;
    CHECK(two.of(EntryTest::isolator)->change == -52 + 39);
}

TEST_CASE("a test that has nothing to be held against is said", "[entry]") {
    const auto warned = [](const Conditions& plain, const Conditions& tested, bool follows = true, bool at_most = false) {
        Pairs p(follows);
        p.with("plain", plain, -40, at_most);
        p.with("isolator", tested, -50, true);
        p.held();
        for (const Warning& one : p.evidence.warnings) {
            CHECK(one.code == "test_unmatched");
            CHECK(one.take == "isolator");
            CHECK(one.text.find("isolator: no take in the normal hookup has the engine in the same state and within 15 % of its speed") == 0);
        }
        return p.evidence.warnings.size() == 1;
    };
    CHECK(warned(idling(), idling({kIsolator}, 2000)));
    CHECK_FALSE(warned(idling(), idling({kIsolator}, 810)));
    CHECK_FALSE(warned(idling(), idling({kIsolator}, 2000), true, true));   // no plain take shows it
    CHECK_FALSE(warned(idling({Hookup::temporary_lead}), idling({kIsolator}, 2000)));
    CHECK_FALSE(warned(idling(), idling({Hookup::normal}, 2000)));   // that is no test
    CHECK_FALSE(warned(idling(), idling({Hookup::inputs_shorted}, 2000)));
    CHECK_FALSE(warned(idling(), idling({kIsolator}, 2000), false));   // of other noise the engine is but another state
    Conditions off;
    off.hookup = {kIsolator};
    CHECK(warned(idling(), off, false));
    CHECK_FALSE(warned(idling(), off));
}

TEST_CASE("the same noise is to be expected where all conditions are alike", "[entry]") {
    const Conditions a = idling();
    const auto differs = [&](auto&& change) {
        Conditions b = a;
        change(b);
        return !alike(a, b);
    };
    CHECK_FALSE(differs([](Conditions&) {}));
    CHECK_FALSE(differs([](Conditions& c) { c.hookup.clear(); }));
    CHECK_FALSE(differs([](Conditions& c) { c.rpm = 915; }));
    CHECK(differs([](Conditions& c) { c.rpm = 1000; }));
    CHECK(differs([](Conditions& c) { c.hookup = {kIsolator}; }));
    CHECK(differs([](Conditions& c) { c.source = SourceState::off; }));
    CHECK(differs([](Conditions& c) { c.input = SourceInput::aux; }));
    CHECK(differs([](Conditions& c) { c.attached = {{"charger", PoweredFrom::vehicle}}; }));
    CHECK(differs([](Conditions& c) { c.laptop = LaptopPower::mains; }));
    CHECK(differs([](Conditions& c) { c.volume = 10; }));
    CHECK(differs([](Conditions& c) { c.loads = {"fan"}; }));
    CHECK(differs([](Conditions& c) { c.point = Point::amp_output; }));
    Conditions lights = a, again = a;
    lights.loads = {"lights", "fan"};
    again.loads = {"fan", "lights"};
    CHECK(alike(lights, again));
}
