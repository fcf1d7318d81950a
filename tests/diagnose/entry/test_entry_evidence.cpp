#include "../../../src/diagnose/entry/entry_evidence.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "../../../src/diagnose/entry/supply_probe.hpp"
#include "diagnose/entry_job.hpp"

using namespace hushtrace;
using namespace hushtrace::entry_job;

namespace {

EntryEvidence evidence_of(const EntryJob& one, const Job& job = {}, const NoiseAnalysis& analysis = {}) {
    return entry_evidence(one.source, analysis, one.surveys, job);
}
Observation observed(const std::string& what, std::optional<double> value, std::optional<std::string> heard = std::nullopt,
                     const Conditions& conditions = idling({Hookup::isolator})) {
    Observation out;
    out.what = what;
    out.value = value;
    out.heard = heard;
    out.conditions = conditions;
    return out;
}
Job job_with(std::vector<Observation> observations) {
    Job job;
    job.observations = std::move(observations);
    return job;
}
bool holds(const std::vector<EntryTest>& tests, EntryTest test) { return std::find(tests.begin(), tests.end(), test) != tests.end(); }

/// A trace over a take of 40 columns of 0.1 s, whose line on the left goes up and down by 1 dB.
void stray(TakeSurvey& survey, NoiseAnalysis& analysis, const std::string& source_id = "source-1") {
    for (ChannelSurvey& channel : survey.channels) {
        channel.column_s = 0.1;
        channel.spectrogram_bin_hz = 10;
        channel.spectrogram_dbfs.assign(40, std::vector<float>(400, -100.0F));
    }
    for (std::size_t c = 0; c < 40; ++c) survey.channels[0].spectrogram_dbfs[c][100] = c / 5 % 2 == 0 ? -49.0F : -51.0F;
    SourceTrace trace;
    trace.source_id = source_id;
    trace.take = survey.take->file;
    trace.ratios = {1.0};
    trace.track.time_s = {0, 100};
    trace.track.frequency_hz = {1000, 1000};
    analysis.traces.push_back(trace);
}

}  // namespace

TEST_CASE("what is asked of a noise: whether it turns with the engine, where it was found, and whether the set-up closes a loop", "[entry]") {
    for (const NoiseKind kind : {NoiseKind::alternator_whine, NoiseKind::ignition_tick, NoiseKind::mains_hum, NoiseKind::motor_whine}) {
        EntryJob one(kind);
        one.add("a", idling(), -40.0);
        const EntryQuestion question = evidence_of(one).question;
        const bool follows = kind == NoiseKind::alternator_whine || kind == NoiseKind::ignition_tick;
        CHECK(question.follows_engine == follows);
        CHECK(usual_repeats_db(one.source, idling()) == (follows ? 4.0 : 1.0));
        CHECK(question.at_the_input);
        CHECK(question.place_known);
        CHECK_FALSE(question.set_up_apart);
    }
    // the laptop on its battery, no tone lead in the source: in the loudest take
    EntryJob one;
    one.add("a", idling(), -40.0);
    one.add("b", idling(), -50.0);
    one.take("a").conditions.laptop = LaptopPower::battery;
    CHECK(evidence_of(one).question.set_up_apart);
    one.take("a").conditions.attached = {{"phone", PoweredFrom::none}};
    CHECK(evidence_of(one).question.set_up_apart);
    one.take("a").conditions.attached.push_back({"interface_output", PoweredFrom::none});
    CHECK_FALSE(evidence_of(one).question.set_up_apart);
    one.take("b").conditions.laptop = LaptopPower::battery;
    CHECK_FALSE(evidence_of(one).question.set_up_apart);
    one.take("a").conditions.attached.clear();
    one.take("a").conditions.laptop = LaptopPower::mains;
    CHECK_FALSE(evidence_of(one).question.set_up_apart);
    // what the ear alone heard lies behind the input; with the engine turning if it was heard then
    NoiseSource heard;
    heard.kind = NoiseKind::heard_only;
    Conditions off;
    CHECK_FALSE(entry_evidence(heard, {}, {}, {}).question.at_the_input);
    CHECK_FALSE(entry_evidence(heard, {}, {}, {}).question.follows_engine);
    CHECK_FALSE(entry_evidence(heard, {}, {}, job_with({observed("noise_heard", {}, "same", off)})).question.follows_engine);
    CHECK(entry_evidence(heard, {}, {}, job_with({observed("noise_heard", {}, "same")})).question.follows_engine);
    CHECK_FALSE(entry_evidence(heard, {}, {}, job_with({observed("ground_drop", 0.1)})).question.follows_engine);
}

TEST_CASE("noise that is at the output and not at the input comes from behind it, if somebody looked there", "[entry]") {
    Conditions output = idling();
    output.point = Point::amp_output;
    EntryJob one;
    one.add("out", output, -30.0);
    CHECK_FALSE(evidence_of(one).question.at_the_input);
    CHECK_FALSE(evidence_of(one).question.place_known);
    one.add("in", idling(), std::nullopt);
    CHECK_FALSE(evidence_of(one).question.at_the_input);
    CHECK(evidence_of(one).question.place_known);
    one.take("in").conditions.hookup = {Hookup::isolator};
    CHECK_FALSE(evidence_of(one).question.place_known);
    one.take("in").conditions = idling({Hookup::normal}, 2000);
    CHECK_FALSE(evidence_of(one).question.place_known);   // at another speed
    one.take("in").conditions = idling();
    one.take("in").conditions.point = Point::source_output;
    CHECK_FALSE(evidence_of(one).question.place_known);
    one.take("in").conditions.point = Point::amp_input;
    one.level("in", Channel::left, -60);
    CHECK(evidence_of(one).question.at_the_input);
    CHECK(evidence_of(one).question.place_known);
    // of takes that were left out nothing is used
    const std::set<std::string> out_alone = {"out"};
    CHECK_FALSE(entry_evidence(one.source, {}, one.surveys, {}, &out_alone).question.at_the_input);
}

TEST_CASE("one side is held against the other in the loudest take with the normal hookup", "[entry]") {
    EntryJob one;
    one.add("a", idling(), -40.0, {Channel::left, Channel::right});
    one.level("a", Channel::right, -46, 0.5);
    one.add("b", idling({Hookup::isolator}), -30.0, {Channel::left, Channel::right});
    one.level("b", Channel::right, -30);
    const auto sides = [&one](EntryTest test = EntryTest::left_against_right) -> std::optional<EntryOutcome> {
        const EntryEvidence evidence = evidence_of(one);
        const EntryOutcome* out = outcome_of(evidence, test);
        return out ? std::optional(*out) : std::nullopt;
    };
    REQUIRE(sides());
    CHECK(sides()->change == 6);
    CHECK(sides()->takes == std::vector<std::string>{"a"});
    CHECK(sides()->sd == Approx(std::hypot(1.0, 0.5, 3.0)));   // two channels that aren't calibrated differ by 3 dB for all one knows
    for (TakeSurvey& survey : one.surveys)
        for (ChannelSurvey& channel : survey.channels) channel.volts_full_scale = 1.0;
    CHECK(sides()->sd == Approx(std::hypot(1.0, 0.5, 1.0)));
    one.surveys.front().channels[1].volts_full_scale.reset();
    CHECK(sides()->sd == Approx(std::hypot(1.0, 0.5, 3.0)));
    // where one side shows it, the other is below what can be found: -82 dBFS here, 2 dB for that
    one.source.levels.erase(one.source.levels.begin() + 1);
    CHECK(sides()->change == 42);
    CHECK(sides()->sd == Approx(std::hypot(1.0, 2.0, 3.0)));
    one.add("c", idling(), -35.0);   // louder, on the left alone
    CHECK_FALSE(sides());
    one.take("c").conditions.hookup = {Hookup::temporary_lead};
    CHECK(sides());
    // loudest on the rear, neither left nor right shows it
    EntryJob rear;
    rear.add("a", idling(), std::nullopt, {Channel::left, Channel::right, Channel::rear_left});
    rear.level("a", Channel::rear_left, -40);
    CHECK_FALSE(outcome_of(evidence_of(rear), EntryTest::left_against_right));
    EntryJob none;
    none.add("a", idling({Hookup::isolator}), -40.0, {Channel::left, Channel::right});
    CHECK_FALSE(outcome_of(evidence_of(none), EntryTest::left_against_right));
}

TEST_CASE("front is held against rear beside it, or in a take of its own", "[entry]") {
    EntryJob one;
    one.add("a", idling(), -40.0, {Channel::left, Channel::rear_left, Channel::rear_right});
    one.level("a", Channel::rear_left, -43);
    const auto rear = [](const EntryJob& job) -> std::optional<EntryOutcome> {
        const EntryEvidence evidence = evidence_of(job);
        CHECK(std::count_if(evidence.outcomes.begin(), evidence.outcomes.end(),
                            [](const EntryOutcome& out) { return out.test == EntryTest::front_against_rear; }) <= 1);
        const EntryOutcome* out = outcome_of(evidence, EntryTest::front_against_rear);
        return out ? std::optional(*out) : std::nullopt;
    };
    REQUIRE(rear(one));
    CHECK(rear(one)->change == 3);
    CHECK(rear(one)->takes == std::vector<std::string>{"a"});
    CHECK(rear(one)->sd == Approx(std::hypot(1.0, 1.0, 3.0)));
    const auto apart = [&](auto&& change) {
        EntryJob two;
        two.add("a", idling(), -40.0, {Channel::left, Channel::right});
        two.add("rear", idling(), std::nullopt, {Channel::rear_left, Channel::rear_right});
        two.level("rear", Channel::rear_left, -44);
        change(two.takes.back());
        return rear(two);
    };
    const auto other = apart([](Take&) {});
    REQUIRE(other);
    CHECK(other->change == 4);
    CHECK(other->takes == std::vector<std::string>{"a", "rear"});
    CHECK(other->sd == Approx(std::hypot(std::hypot(1.0, 1.0), 3.0, std::sqrt(2.0) * 4)));   // two takes at idle stray by 4 dB each
    CHECK_FALSE(apart([](Take& take) { take.after_change = "lead rerouted"; }));
    CHECK_FALSE(apart([](Take& take) { take.conditions.rpm = 2000; }));
    CHECK_FALSE(apart([](Take& take) { take.conditions.loads = {"fan"}; }));
    CHECK_FALSE(apart([](Take& take) { take.conditions.hookup = {Hookup::isolator}; }));
    // the right against the right rear, where there is no left of it
    EntryJob right;
    right.add("a", idling(), -40.0, {Channel::left, Channel::right, Channel::rear_right});
    right.level("a", Channel::right, -41);
    right.level("a", Channel::rear_right, -46);
    CHECK(rear(right)->change == 5);
}

TEST_CASE("a level that strays within its take is evidence, from the first take in the normal hookup that shows it", "[entry]") {
    const double sd = std::sqrt(8.0 / 7);   // eight half seconds, 1 dB up and down
    const auto strays = [](const EntryJob& one, const NoiseAnalysis& analysis) -> std::optional<EntryOutcome> {
        const EntryEvidence evidence = evidence_of(one, {}, analysis);
        const EntryOutcome* out = outcome_of(evidence, EntryTest::level_wanders);
        return out ? std::optional(*out) : std::nullopt;
    };
    EntryJob one;
    NoiseAnalysis analysis;
    stray(one.add("a", idling(), -40.0), analysis);
    REQUIRE(strays(one, analysis));
    CHECK(strays(one, analysis)->change == Approx(sd).epsilon(1e-3));
    CHECK(strays(one, analysis)->takes == std::vector<std::string>{"a"});
    CHECK(strays(one, analysis)->sd == 1.2);   // the engine's own straying is in it
    one.source.kind = NoiseKind::mains_hum;
    CHECK(strays(one, analysis)->sd == 0.4);
    one.source.kind = NoiseKind::alternator_whine;
    ChannelSurvey other = one.surveys.front().channels[0];
    other.channel = Channel::right;
    for (auto& column : other.spectrogram_dbfs) column[100] = -60.0F;
    one.surveys.front().channels.push_back(other);
    CHECK(strays(one, analysis)->sd == 0.4);   // against the other side that drops out
    one.take("a").conditions.hookup = {Hookup::isolator};
    CHECK_FALSE(strays(one, analysis));
    one.take("a").conditions = idling();
    one.take("a").conditions.engine = Engine::sweep;
    CHECK_FALSE(strays(one, analysis));
    one.take("a").conditions = idling();
    analysis.traces[0].source_id = "source-2";
    CHECK_FALSE(strays(one, analysis));
    analysis.traces[0].source_id = "source-1";
    analysis.traces[0].take = "b";
    CHECK_FALSE(strays(one, analysis));
    stray(one.add("b", idling(), -40.0), analysis);
    CHECK(strays(one, analysis)->takes == std::vector<std::string>{"b"});
}

TEST_CASE("of a motor every fourth search misses it: no longer found says so much less", "[entry]") {
    for (const NoiseKind kind : {NoiseKind::motor_whine, NoiseKind::mains_hum}) {
        EntryJob one(kind);
        one.add("a", idling(), -40.0);
        one.add("b", idling({Hookup::isolator}), std::nullopt);
        one.add("c", idling({Hookup::temporary_lead}), -45.0);
        const EntryEvidence evidence = evidence_of(one);
        REQUIRE(outcome_of(evidence, EntryTest::isolator));
        CHECK(outcome_of(evidence, EntryTest::isolator)->at_most);
        CHECK(outcome_of(evidence, EntryTest::isolator)->missed == (kind == NoiseKind::motor_whine ? 0.25 : 0.0));
        CHECK(outcome_of(evidence, EntryTest::temporary_lead)->missed == 0);
    }
    // what else was found in its place bounds it, told or not: then it fell by no more than to that
    EntryJob one(NoiseKind::mains_hum);
    one.add("a", idling(), -40.0);
    one.add("b", idling({Hookup::isolator}), std::nullopt);
    CHECK(outcome_of(evidence_of(one), EntryTest::isolator)->change == -25);
    NoiseSource tone;
    tone.kind = NoiseKind::unexplained_tone;
    tone.frequency_hz = 1000;
    LevelInTake level;
    level.take = "b";
    level.level_dbfs = -55;
    tone.levels = {level};
    NoiseAnalysis told, unsure;
    told.noise_sources = {tone};
    unsure.unsure = {tone};
    CHECK(outcome_of(evidence_of(one, {}, told), EntryTest::isolator)->change == -15);
    CHECK(outcome_of(evidence_of(one, {}, unsure), EntryTest::isolator)->change == -15);
    const std::set<std::string> first = {"a"};
    CHECK(entry_evidence(one.source, {}, one.surveys, {}, &first).made.empty());
}

TEST_CASE("the ear and the meter are evidence; a take goes before the ear, and the first reading counts", "[entry]") {
    EntryJob one;
    one.add("a", idling(), -40.0);
    const auto of = [&one](std::vector<Observation> observations, EntryTest test) -> std::optional<EntryOutcome> {
        const EntryEvidence evidence = evidence_of(one, job_with(std::move(observations)));
        const EntryOutcome* out = outcome_of(evidence, test);
        CHECK(evidence.made.contains(test) == (out != nullptr));
        return out ? std::optional(*out) : std::nullopt;
    };
    const auto ear = of({observed("supply_drop", 0.1), observed("noise_heard", {}, "quieter")}, EntryTest::isolator);
    REQUIRE(ear);
    CHECK(ear->heard == "quieter");
    CHECK(ear->observations == std::vector<std::size_t>{1});
    CHECK(ear->takes.empty());
    CHECK(of({observed("noise_heard", {}, "gone"), observed("noise_heard", {}, "same")}, EntryTest::isolator)->heard == "gone");
    CHECK(evidence_of(one, job_with({observed("supply_drop", 0.1)})).outcomes.empty());
    Observation declined = observed("noise_heard", {}, "gone"), later = declined, unsaid = observed("noise_heard", {});
    declined.declined = true;
    later.after_change = "lead rerouted";
    for (const Observation& without : {declined, later, unsaid}) CHECK_FALSE(of({without}, EntryTest::isolator));
    Conditions off;
    off.hookup = {Hookup::isolator};
    CHECK_FALSE(of({observed("noise_heard", {}, "gone", off)}, EntryTest::isolator));   // another noise than the engine's
    CHECK_FALSE(of({observed("noise_heard", {}, "gone", idling({Hookup::isolator, Hookup::temporary_lead}))}, EntryTest::isolator));   // two at once
    one.source.kind = NoiseKind::mains_hum;
    CHECK(of({observed("noise_heard", {}, "gone", off)}, EntryTest::isolator));
    CHECK_FALSE(of({observed("noise_heard", {}, "gone")}, EntryTest::isolator));
    one.source.kind = NoiseKind::alternator_whine;
    one.add("b", idling({Hookup::isolator}), -50.0);
    CHECK_FALSE(of({observed("noise_heard", {}, "same")}, EntryTest::isolator)->heard);
    // a meter's volts and ohms as logarithms
    const auto volts = [&](double value) { return of({observed("ground_drop", value)}, EntryTest::ground_drop); };
    REQUIRE(volts(0.1));
    CHECK(volts(0.1)->change == Approx(-1));
    CHECK(volts(0.1)->sd == 0.1);
    CHECK(volts(1e-4)->change == Approx(-3));
    CHECK_FALSE(volts(0));
    const auto ohms = [&](double value) { return of({observed("shell_to_case", value)}, EntryTest::shell_to_case); };
    CHECK(ohms(100)->change == Approx(2));
    CHECK(ohms(100)->sd == 0.1);
    CHECK(ohms(0)->change == Approx(-2));
    CHECK(ohms(1e9)->change == Approx(6));
    CHECK_FALSE(ohms(-1));
    CHECK_FALSE(of({observed("shell_to_case", {})}, EntryTest::shell_to_case));
}

TEST_CASE("the slope over the supply is evidence where it weighs", "[entry]") {
    EntryJob one;
    one.add("a", idling(), -40.0);
    NoiseAnalysis analysis;
    SupplyTransfer transfer;
    transfer.source_id = "source-1";
    transfer.take = "probe";
    transfer.points = {{1000, {0, 1, {}}, 0.9}, {10000, {20, 1, {}}, 0.9}};
    transfer.slope_db_per_decade = Reading{20, 1, {}};
    transfer.decades = 1;
    FeedImpedance feed;   // all inductance
    feed.resistance_ohm = {1e-4, 0, {}};
    feed.inductance_h = {5e-6, 0, {}};
    feed.corner_hz = {3, 0, {}};
    analysis.supply_transfers = {transfer};
    analysis.feed_impedances = {feed};
    const EntryEvidence with = evidence_of(one, {}, analysis);
    const EntryOutcome* slope = outcome_of(with, EntryTest::supply_slope);
    REQUIRE(slope);
    CHECK(slope->change == Approx(20).margin(0.2));
    CHECK(slope->sd == slope_that_weighs(analysis, "source-1")->sd);
    CHECK(slope->takes == std::vector<std::string>{"probe"});
    one.source.levels.clear();
    CHECK(evidence_of(one, {}, analysis).outcomes.empty());
}

TEST_CASE("the tests that are left are those that can be made and would say something", "[entry]") {
    EntryJob one;
    one.add("a", idling(), -40.0);
    EntryEvidence evidence;
    const auto left = [&](EntryTest test, const Job& job = {}) { return holds(tests_left(evidence, one.surveys, job), test); };
    CHECK(left(EntryTest::isolator));
    evidence.made = {EntryTest::isolator};
    CHECK_FALSE(left(EntryTest::isolator));
    // what lies in the takes already, or can't be told from the vehicle
    for (const EntryTest test : {EntryTest::left_against_right, EntryTest::front_against_rear, EntryTest::level_wanders, EntryTest::supply_slope})
        CHECK_FALSE(left(test));
    for (const EntryTest test : {EntryTest::device_unplugged, EntryTest::tone_lead_off, EntryTest::laptop_on_battery}) CHECK_FALSE(left(test));
    Conditions& conditions = one.take("a").conditions;
    conditions.attached = {{"charger", PoweredFrom::vehicle}};
    CHECK(left(EntryTest::device_unplugged));
    CHECK_FALSE(left(EntryTest::tone_lead_off));
    conditions.attached = {{"interface_output", PoweredFrom::none}};
    CHECK_FALSE(left(EntryTest::device_unplugged));
    CHECK(left(EntryTest::tone_lead_off));
    for (const LaptopPower power : {LaptopPower::mains, LaptopPower::vehicle}) {
        conditions.laptop = power;
        CHECK(left(EntryTest::laptop_on_battery));
    }
    one.add("b", idling(), -40.0);   // in any take
    CHECK(left(EntryTest::laptop_on_battery));
    conditions.laptop = LaptopPower::battery;
    CHECK_FALSE(left(EntryTest::laptop_on_battery));
    // never a strap where the amplifier's own ground is in doubt
    CHECK(left(EntryTest::temporary_ground));
    CHECK(left(EntryTest::temporary_ground, job_with({observed("ground_drop", 0.2)})));
    CHECK_FALSE(left(EntryTest::temporary_ground, job_with({observed("ground_drop", 0.21), observed("ground_drop", 0.1)})));
    CHECK(left(EntryTest::temporary_ground, job_with({observed("supply_drop", 0.5)})));
    CHECK(left(EntryTest::loads_on));
    evidence.question.follows_engine = false;
    CHECK_FALSE(left(EntryTest::loads_on));
    // a test speaker tells of what was heard behind the input; with the dummy as well, where noise comes before it and some stayed with the dummy
    CHECK_FALSE(left(EntryTest::test_speaker));
    CHECK_FALSE(left(EntryTest::test_speaker_on_dummy));
    EntryOutcome dummy;
    dummy.test = EntryTest::shorted_at_amp;
    const auto with_dummy = [&](std::optional<std::string> heard, double change, bool also = false) {
        dummy.heard = std::move(heard);
        dummy.change = change;
        dummy.also.clear();
        if (also) dummy.also = {EntryTest::isolator};
        evidence.outcomes = {dummy};
        return left(EntryTest::test_speaker_on_dummy);
    };
    CHECK(with_dummy("same", 0));
    CHECK(with_dummy("quieter", 0));
    CHECK_FALSE(with_dummy("gone", 0));
    CHECK(with_dummy(std::nullopt, -24));
    CHECK_FALSE(with_dummy(std::nullopt, -25));
    CHECK_FALSE(with_dummy("same", 0, true));
    evidence.question.at_the_input = false;
    CHECK_FALSE(with_dummy("same", 0));
    CHECK(left(EntryTest::test_speaker));
    CHECK_FALSE(source_reached(evidence));
    evidence.made = {EntryTest::isolator, EntryTest::dummy_floating};
    CHECK(source_reached(evidence));
    CHECK_FALSE(source_reached({}));
}
