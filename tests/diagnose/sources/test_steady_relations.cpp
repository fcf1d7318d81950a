#include "../../../src/diagnose/sources/steady_relations.hpp"

#include <catch2/catch.hpp>

#include "../../../src/diagnose/sources/confidence.hpp"
#include "diagnose/made_survey.hpp"
#include "holds.hpp"

using namespace hushtrace;

namespace {

using K = NoiseKind;

/// Takes with their surveys; those given a level have the source at 1 kHz.
struct Jobbed {
    std::list<Take> takes;
    std::list<TakeSurvey> surveys;
    NoiseSource source;
    explicit Jobbed(K kind = K::unexplained_tone) {
        source.kind = kind;
        source.frequency_hz = 1000.0;
        source.confidence = 0.1;
    }
    Take& add(const std::string& file, std::optional<double> level_dbfs) {
        takes.push_back(made_take(file));
        surveys.push_back(quiet_survey(takes.back(), 1.0, 4000.0));
        if (!level_dbfs) return takes.back();
        source.takes.push_back(file);
        source.levels.push_back({file, Channel::left, level_dbfs, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing});
        return takes.back();
    }
    NoiseSource related() const {
        NoiseSource out = source;
        relate_to_conditions(out, surveys);
        return out;
    }
};

/// Two takes that differ in what `change` does to the first; the source is 20 dB louder in that.
template <class Change>
NoiseSource changed(K kind, Change change) {
    Jobbed two(kind);
    Take& first = two.add("a", -50.0);
    Take& second = two.add("b", -70.0);
    change(first.conditions, second.conditions);
    return two.related();
}

}  // namespace

TEST_CASE("what a source comes with is told from takes that differ in that alone", "[relations]") {
    struct Row {
        void (*change)(Conditions& there, Conditions& gone);
        const char* text;
        K from, to;
        const char* rests_on;
    };
    using C = Conditions;
    for (const Row& row : {
             Row{[](C& a, C&) { a.loads = {"fan"}; }, "It comes with the load 'fan' switched on", K::unexplained_tone, K::switched_load,
                 "load: comes with a load switched on"},
             Row{[](C& a, C&) { a.loads = {"fan"}; }, "It comes with the load 'fan'", K::switched_load, K::switched_load,
                 "load: comes with a load switched on"},
             Row{[](C& a, C&) { a.loads = {"fan"}; }, "It comes with the load 'fan'", K::motor_whine, K::motor_whine, ""},
             Row{[](C&, C& b) { b.loads = {"fan"}; }, "It is there with the load 'fan' switched off", K::unexplained_tone, K::unexplained_tone, ""},
             Row{[](C& a, C&) { a.attached = {{"charger", PoweredFrom::vehicle}}; }, "It comes with the charger on the vehicle's supply",
                 K::unexplained_tone, K::converter_hash, "hash: comes with a device on the vehicle's supply"},
             Row{[](C& a, C&) { a.attached = {{"charger", PoweredFrom::vehicle}}; }, "It comes with the charger on the vehicle's supply",
                 K::converter_hash, K::converter_hash, "hash: comes with a device on the vehicle's supply"},
             Row{[](C& a, C&) { a.attached = {{"charger", PoweredFrom::vehicle}}; }, "It comes with the charger", K::switched_load,
                 K::switched_load, ""},
             Row{[](C& a, C&) { a.attached = {{"phone", PoweredFrom::own_battery}}; }, "It comes with the phone: 20 dB", K::unexplained_tone,
                 K::unexplained_tone, ""},
             Row{[](C& a, C& b) { a.source = SourceState::on, b.source = SourceState::muted; },
                 "It is there with the source on and not with it muted: the source's own activity", K::unexplained_tone, K::unexplained_tone, ""},
             Row{[](C& a, C&) { a.source = SourceState::paused; }, "the source paused and not with it otherwise", K::unexplained_tone,
                 K::unexplained_tone, ""},
             Row{[](C& a, C& b) { a.input = SourceInput::usb, b.input = SourceInput::aux; }, "input (usb against aux): the source's own activity",
                 K::unexplained_tone, K::unexplained_tone, ""},
             Row{[](C& a, C& b) { a.laptop = LaptopPower::mains, b.laptop = LaptopPower::battery; },
                 "the laptop on mains, not on battery: the measuring set-up", K::unexplained_tone, K::unexplained_tone, ""},
             Row{[](C& a, C& b) { a.volume = 20.0, b.volume = 10.5; }, "volume (20 against 10.5): from before the volume control",
                 K::unexplained_tone, K::unexplained_tone, ""}}) {
        CAPTURE(row.text, to_word(row.from));
        const NoiseSource out = changed(row.from, row.change);
        CHECK(out.kind == row.to);
        CHECK(out.rests_on == row.rests_on);
        CHECK(out.confidence == Approx(*row.rests_on ? confidence_of(row.rests_on) : 0.1));
        REQUIRE(out.evidence.size() == 1);
        CHECK(holds(out.evidence[0].text, row.text));
        CHECK(holds(out.evidence[0].text, ": 20 dB louder than without, all else alike."));
        CHECK(out.evidence[0].value == Approx(20.0));
        CHECK(out.evidence[0].unit == "dB");
        CHECK(out.evidence[0].takes == std::vector<std::string>{"a", "b"});
    }
    // of these nothing is said here: entry paths and health tell them
    const auto nothing = [](auto change) { CHECK(changed(K::unexplained_tone, change).evidence.empty()); };
    nothing([](C& a, C&) { a.engine = Engine::idle; });
    nothing([](C& a, C&) { a.hookup = {Hookup::isolator}; });
    nothing([](C& a, C&) { a.point = Point::source_output; });
    nothing([](C&, C&) {});
    // of two that differ nobody knows which did it
    nothing([](C& a, C&) { a.loads = {"fan"}, a.volume = 10.0; });
    nothing([](C& a, C&) { a.source = SourceState::on, a.hookup = {Hookup::isolator}; });
    nothing([](C& a, C&) { a.source = SourceState::on, a.point = Point::amp_output; });
    nothing([](C& a, C& b) { a.source = SourceState::on, b.engine = Engine::idle; });
    // nothing is told of a take with the inputs shorted
    nothing([](C& a, C& b) { a.source = SourceState::on, a.hookup = b.hookup = {Hookup::inputs_shorted}; });
}

TEST_CASE("a change that was made between two takes keeps them apart", "[relations]") {
    Jobbed two;
    Take& first = two.add("a", -50.0);
    two.add("b", -70.0);
    first.conditions.source = SourceState::on;
    CHECK(two.related().evidence.size() == 1);
    first.after_change = "new ground";
    CHECK(two.related().evidence.empty());
    two.takes.back().after_change = "new ground";
    CHECK(two.related().evidence.size() == 1);
    two.takes.back().after_change = "other lead";
    CHECK(two.related().evidence.empty());
}

TEST_CASE("six decibels tell a change, the strongest of several speaks", "[relations]") {
    for (const double change_db : {5.9, 6.1}) {
        Jobbed two;
        two.add("a", -50.0).conditions.source = SourceState::on;
        two.add("b", -50.0 - change_db);
        CHECK(two.related().evidence.size() == (change_db > 6.0 ? 1U : 0U));
    }
    Jobbed several;
    several.add("a", -50.0).conditions.source = SourceState::on;
    several.add("b", -60.0);
    several.add("c", -72.0);
    several.add("d", -63.0);
    const NoiseSource out = several.related();
    REQUIRE(out.evidence.size() == 1);
    CHECK(out.evidence[0].value == Approx(22.0));
    CHECK(out.evidence[0].takes == std::vector<std::string>{"a", "c"});
    // the louder channel counts, silence doesn't
    Jobbed two;
    two.add("a", -55.0).conditions.source = SourceState::on;
    two.add("b", -80.0);
    two.source.levels.push_back({"a", Channel::right, -50.0, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing});
    two.source.levels.push_back({"b", Channel::right, -70.0, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing});
    two.source.levels.push_back({"a", Channel::sub, std::nullopt, std::nullopt, 0.1, std::nullopt, LimitedBy::nothing});
    REQUIRE(two.related().evidence.size() == 1);
    CHECK(two.related().evidence[0].value == Approx(20.0));
    // two facts that each matter are both told
    Jobbed both;
    Take& with = both.add("a", -50.0);
    with.conditions.source = SourceState::on, with.conditions.loads = {"fan"};
    both.add("b", -70.0).conditions.source = SourceState::on;
    both.add("c", -64.0).conditions.loads = {"fan"};
    const NoiseSource told = both.related();
    REQUIRE(told.evidence.size() == 2);
    CHECK(told.evidence[0].value == Approx(20.0));
    CHECK(holds(told.evidence[0].text, "fan"));
    CHECK(told.evidence[1].value == Approx(14.0));
}

TEST_CASE("where a source was not found, what its lines' places hold is the most that it may be", "[relations]") {
    const auto change_db = [](const Jobbed& job) {
        const NoiseSource out = job.related();
        return out.evidence.empty() ? 0.0 : out.evidence[0].value;
    };
    Jobbed two;
    two.add("a", -50.0).conditions.source = SourceState::on;
    two.add("b", std::nullopt);
    // twice the noise of one bin of 1 Hz: 2e-12, as a sine's level 10 lg 4e-12
    CHECK(change_db(two) == Approx(-50.0 - 10.0 * std::log10(4e-12)).margin(0.001));
    two.source.harmonics = {{1.0, 1000.0, -50.0, std::nullopt}, {1.5, 1500.0, -60.0, std::nullopt}};
    CHECK(change_db(two) == Approx(-50.0 - 10.0 * std::log10(8e-12)).margin(0.001));
    // a line that stands there, within two in a thousand, in the channel that shows more
    stand(two.surveys.back().channels[1].still, 1002.0, 1e-9);
    CHECK(change_db(two) == Approx(-50.0 - 10.0 * std::log10(2.0 * (1e-9 + 2e-12))).margin(0.001));
    two.surveys.back().channels[1].still = quiet_still(1.0, 4000.0);
    stand(two.surveys.back().channels[1].still, 1003.0, 1e-9);
    CHECK(change_db(two) == Approx(-50.0 - 10.0 * std::log10(8e-12)).margin(0.001));
    two.surveys.back().channels[1].still = quiet_still(1.0, 4000.0);
    stand(two.surveys.back().channels[1].still, 1000.0, 1e-9, 3.9);   // less 1.05 for having looked in four bins and more
    CHECK(change_db(two) == Approx(-50.0 - 10.0 * std::log10(8e-12)).margin(0.001));
    two.surveys.back().channels[0].still.density.clear();   // not surveyed
    two.surveys.back().channels[1].still = quiet_still(1.0, 4000.0);
    CHECK(change_db(two) == Approx(-50.0 - 10.0 * std::log10(8e-12)).margin(0.001));
    // of bursts and bands no line tells: 10 dB
    for (const K kind : {K::crackle, K::periodic_tick}) {
        two.source.kind = kind;
        CHECK(change_db(two) == 10.0);
    }
    two.source.kind = K::converter_hash;
    CHECK(change_db(two) > 20.0);
    two.source.band_hz = {100.0, 2000.0};
    CHECK(change_db(two) == 10.0);
}

TEST_CASE("a load that all takes with the source have in common and none without is named", "[relations]") {
    const auto job = [](K kind) {
        Jobbed out(kind);
        Take& a = out.add("a", -50.0);
        a.conditions.loads = {"fan", "lamp"};
        a.conditions.volume = 3.0;
        Take& b = out.add("b", -50.0);
        b.conditions.loads = {"fan"};
        b.conditions.input = SourceInput::aux;
        out.add("c", std::nullopt).conditions.laptop = LaptopPower::mains;
        return out;
    };
    const NoiseSource out = job(K::unexplained_tone).related();
    CHECK(out.kind == K::switched_load);
    CHECK(out.confidence == 0.1);
    REQUIRE(out.evidence.size() == 1);
    CHECK(holds(out.evidence[0].text, "It is there in the 2 takes with the load 'fan' on, and in none of the 1 without"));
    CHECK(out.evidence[0].value == 2.0);
    CHECK(out.evidence[0].unit == "takes");
    CHECK(out.evidence[0].takes == std::vector<std::string>{"a", "b", "c"});
    CHECK(job(K::converter_hash).related().kind == K::converter_hash);
    CHECK(job(K::converter_hash).related().evidence.size() == 1);

    Jobbed one;   // one take alone says too little to name it
    one.add("a", -50.0).conditions.loads = {"fan"};
    one.takes.back().conditions.volume = 3.0;
    one.add("c", std::nullopt);
    const NoiseSource lone = one.related();
    CHECK(lone.kind == K::unexplained_tone);
    REQUIRE(lone.evidence.size() == 1);
    CHECK(holds(lone.evidence[0].text, "in the 1 take with the load 'fan' on"));

    Jobbed without = job(K::unexplained_tone);   // there with the load off, too
    without.add("d", -60.0).conditions.volume = 7.0;
    CHECK(without.related().evidence.empty());
    Jobbed with = job(K::unexplained_tone);      // not there with it on
    with.add("d", std::nullopt).conditions.loads = {"fan"};
    with.takes.back().conditions.volume = 7.0;
    with.takes.back().conditions.laptop = LaptopPower::vehicle;
    CHECK(with.related().evidence.empty());
    Jobbed floor = job(K::unexplained_tone);     // the set-up's own floor says nothing of it
    floor.add("d", std::nullopt).conditions.loads = {"fan"};
    floor.takes.back().conditions.hookup = {Hookup::inputs_shorted};
    CHECK(floor.related().evidence.size() == 1);
    Jobbed always;                               // never off
    always.add("a", -50.0).conditions.loads = {"fan"};
    CHECK(always.related().evidence.empty());
    Jobbed pair;                                 // a pair that differs in it alone says more
    pair.add("a", -50.0).conditions.loads = {"fan"};
    pair.add("b", std::nullopt);
    REQUIRE(pair.related().evidence.size() == 1);
    CHECK(holds(pair.related().evidence[0].text, "It comes with the load 'fan'"));
}

TEST_CASE("what is there with the engine alone, steadily at 100 to 400 Hz, may be the field regulator", "[relations]") {
    const auto job = [](double frequency_hz, K kind = K::unexplained_tone, std::optional<double> at_rest_dbfs = std::nullopt) {
        Jobbed out(kind);
        out.source.frequency_hz = frequency_hz;
        out.source.confidence = 0.95;
        out.source.rests_on = "tone: clear";
        out.add("run", -50.0).conditions.engine = Engine::idle;
        out.add("off", at_rest_dbfs);
        return out;
    };
    const NoiseSource out = job(200.0).related();
    CHECK(out.kind == K::switched_load);
    CHECK(out.rests_on == "load: may be the field regulator");
    CHECK(out.confidence == Approx(13.0 / 19.0));   // 12 of 17 by the rule of succession
    REQUIRE(out.evidence.size() == 1);
    CHECK(holds(out.evidence[0].text, "only while the engine runs"));
    CHECK(holds(out.evidence[0].text, "200 Hz is in the range of an alternator's field regulator"));
    CHECK(out.evidence[0].value == 200.0);
    CHECK(out.evidence[0].unit == "Hz");
    CHECK(out.evidence[0].takes == std::vector<std::string>{"run"});
    // 100 to 400 Hz, 5 % more either way
    for (const double in : {95.1, 419.9}) CHECK(job(in).related().kind == K::switched_load);
    for (const double beyond : {94.9, 420.1}) {
        CHECK(job(beyond).related().kind == K::unexplained_tone);
        CHECK(job(beyond).related().evidence.empty());
    }
    CHECK(job(200.0, K::switched_load).related().evidence.size() == 1);
    CHECK(job(200.0, K::motor_whine).related().evidence.empty());
    CHECK(job(200.0, K::unexplained_tone, -48.0).related().evidence.empty());   // at rest, too
    Jobbed unsure = job(200.0);
    unsure.source.confidence = 0.2;
    CHECK(unsure.related().confidence == 0.2);
    CHECK(unsure.related().rests_on == "tone: clear");
    CHECK(unsure.related().kind == K::switched_load);
    Jobbed running = job(200.0);   // never at rest: nothing to tell it by
    running.takes.back().conditions.engine = Engine::idle;
    CHECK(running.related().kind == K::unexplained_tone);
    Jobbed rest = job(200.0);      // at rest alone
    rest.takes.front().conditions.engine = Engine::off;
    CHECK(rest.related().kind == K::unexplained_tone);
    Jobbed floor = job(200.0);     // a floor take is none at rest
    floor.takes.back().conditions.hookup = {Hookup::inputs_shorted};
    CHECK(floor.related().kind == K::unexplained_tone);
    Jobbed floor_alone = job(200.0);   // found with the inputs shorted alone
    floor_alone.takes.front().conditions.hookup = {Hookup::inputs_shorted};
    CHECK(floor_alone.related().kind == K::unexplained_tone);
    Jobbed nowhere = job(200.0);
    nowhere.source.frequency_hz.reset();
    CHECK(nowhere.related().evidence.empty());
}
