#include "../../../src/diagnose/entry/dummy_test.hpp"

#include <catch2/catch.hpp>

using namespace hushtrace;

namespace {

EntryOutcome read(EntryTest test, double change, bool at_most = false) {
    EntryOutcome out;
    out.test = test;
    out.change = change;
    out.at_most = at_most;
    out.takes = {"takes/a.flac", "takes/b.flac"};
    return out;
}
EntryOutcome heard(EntryTest test, const char* word) {
    EntryOutcome out;
    out.test = test;
    out.heard = word;
    out.observations = {0};
    return out;
}
DummyTest after(const std::vector<EntryOutcome>& outcomes, bool at_the_input = true) {
    EntryEvidence evidence;
    evidence.question.at_the_input = at_the_input;
    evidence.outcomes = outcomes;
    NoiseSource source;
    source.id = "alternator_whine-1";
    return dummy_test_of(source, evidence, Job{});
}
std::vector<std::string> states(const DummyTest& test) {
    std::vector<std::string> out;
    for (const DummyTest::Step& step : test.steps) out.push_back(step.state);
    return out;
}
using States = std::vector<std::string>;

}  // namespace

// Whitlock, in Ballou (ed.), Handbook for Sound Engineers, ch. 32: what stays at each step names its side (from memory).
TEST_CASE("the dummy test goes on while the noise is gone, and stops where it stays", "[entry][dummy]") {
    const DummyTest fresh = after({});
    CHECK(states(fresh) == States{"next", "later", "later", "later"});
    CHECK_FALSE(fresh.begun);
    CHECK(fresh.verdict.empty());

    const DummyTest behind = after({heard(EntryTest::shorted_at_amp, "same")}, false);
    CHECK(states(behind) == States{"made", "not_needed", "not_needed", "not_needed"});
    CHECK(behind.verdict.find("speaker side") != std::string::npos);

    const DummyTest pin = after({heard(EntryTest::shorted_at_amp, "gone"), heard(EntryTest::lead_on_dummy_at_amp, "same")}, false);
    CHECK(states(pin) == States{"made", "made", "not_needed", "not_needed"});
    CHECK(pin.verdict.find("inside the amplifier's input") != std::string::npos);

    const DummyTest lead =
        after({heard(EntryTest::shorted_at_amp, "gone"), heard(EntryTest::lead_on_dummy_at_amp, "gone"), read(EntryTest::dummy_floating, 0.4)});
    CHECK(states(lead) == States{"made", "made", "made", "not_needed"});
    CHECK(lead.verdict.find("lead itself") != std::string::npos);

    const std::vector<EntryOutcome> three = {heard(EntryTest::shorted_at_amp, "gone"), heard(EntryTest::lead_on_dummy_at_amp, "gone"),
                                             read(EntryTest::dummy_floating, -25.0, true)};
    CHECK(states(after(three)) == States{"made", "made", "made", "next"});
    CHECK(after(three).verdict.empty());   // a pulled plug convicts nobody
    auto four = three;
    four.push_back(read(EntryTest::shorted_at_source, -1.0));
    CHECK(after(four).verdict.find("ground loop") != std::string::npos);
    four.back() = read(EntryTest::shorted_at_source, -25.0, true);
    CHECK(after(four).verdict.find("out of the source") != std::string::npos);
}

TEST_CASE("what the dummy test can't tell it leaves open", "[entry][dummy]") {
    // noise that is there at the input isn't settled by what stays behind it
    CHECK(states(after({heard(EntryTest::shorted_at_amp, "same")}, true)) == States{"made", "next", "later", "later"});
    // a part that stays: two ways
    const DummyTest part = after({read(EntryTest::dummy_floating, -9.0)});
    CHECK(states(part) == States{"next", "later", "made", "later"});
    CHECK(part.steps[2].means.find("two ways") != std::string::npos);
    CHECK(part.verdict.empty());
    // not found any more, but it could not be much lower and still be found: no outcome
    CHECK(states(after({read(EntryTest::dummy_floating, -4.0, true)})) == States{"next", "later", "later", "later"});
}

TEST_CASE("each step of the dummy test says what to do, what it showed and what that means", "[entry][dummy]") {
    const std::vector<EntryTest> order = {EntryTest::shorted_at_amp, EntryTest::lead_on_dummy_at_amp, EntryTest::dummy_floating,
                                          EntryTest::shorted_at_source};
    const DummyTest test = after({heard(EntryTest::shorted_at_amp, "gone"), read(EntryTest::dummy_floating, -9.0)});
    CHECK(test.source_id == "alternator_whine-1");
    CHECK(test.begun);
    REQUIRE(test.steps.size() == order.size());
    for (std::size_t i = 0; i < order.size(); ++i) {
        CHECK(test.steps[i].number == i + 1);
        CHECK(test.steps[i].name == facts_of(order[i]).name);
        CHECK(test.steps[i].hands == facts_of(order[i]).hands);
    }
    CHECK(test.steps[0].showed.find("the ear heard it gone") != std::string::npos);
    CHECK(test.steps[0].means.find("Not the amplifier") == 0);
    CHECK(test.steps[1].showed.empty());
    CHECK(test.steps[1].means.empty());
    CHECK(test.steps[2].showed.find("falls by 9 dB") != std::string::npos);
    CHECK(test.steps[2].means.find("The lead itself picks it up") != std::string::npos);
    CHECK(test.steps[2].means.find("Not a field into the lead") != std::string::npos);
}

TEST_CASE("the noise stays down to 6 dB less and is gone from 15 dB on", "[entry][dummy]") {
    const auto means = [](const EntryOutcome& outcome) { return after({outcome}).steps[2].means; };
    const auto stays = [&](const EntryOutcome& outcome) { return means(outcome).find("The lead itself") == 0; };
    const auto gone = [&](const EntryOutcome& outcome) { return means(outcome).find("Not a field") == 0; };
    const auto part = [&](const EntryOutcome& outcome) { return means(outcome).find("A part stays") == 0; };
    CHECK(stays(read(EntryTest::dummy_floating, -5.9)));
    CHECK(part(read(EntryTest::dummy_floating, -6.1)));
    CHECK(part(read(EntryTest::dummy_floating, -14.9)));
    CHECK(gone(read(EntryTest::dummy_floating, -15.0)));
    CHECK(gone(read(EntryTest::dummy_floating, -15.1, true)));
    CHECK(means(read(EntryTest::dummy_floating, -14.9, true)).empty());
    CHECK(gone(heard(EntryTest::dummy_floating, "gone")));
    CHECK(part(heard(EntryTest::dummy_floating, "quieter")));
    CHECK(stays(heard(EntryTest::dummy_floating, "same")));
    CHECK(stays(heard(EntryTest::dummy_floating, "louder")));
    EntryOutcome both = read(EntryTest::dummy_floating, 0.0);   // with another test in one take it is none
    both.also = {EntryTest::isolator};
    CHECK(means(both).empty());
    // the first step at which it stays settles it
    const DummyTest two = after({read(EntryTest::dummy_floating, 0.0), read(EntryTest::shorted_at_source, 0.0)});
    CHECK(two.verdict.find("The lead itself") == 0);
    const DummyTest then_gone = after({read(EntryTest::dummy_floating, 0.0), read(EntryTest::shorted_at_source, -20.0)});
    CHECK(then_gone.verdict.find("The lead itself") == 0);
    CHECK(states(after({read(EntryTest::shorted_at_source, -20.0)})) == States{"next", "later", "later", "made"});
    CHECK(states(after({read(EntryTest::shorted_at_amp, 0.0)}, false)) == States{"made", "not_needed", "not_needed", "not_needed"});
    CHECK(states(after({read(EntryTest::lead_on_dummy_at_amp, 0.0)}, true)) == States{"next", "made", "later", "later"});
}
