#include "../../../src/diagnose/entry/entry_conditions.hpp"

#include <catch2/catch.hpp>

using namespace hushtrace;

namespace {

using Tests = std::vector<EntryTest>;

Conditions idle() {
    Conditions out;
    out.engine = Engine::idle;
    out.rpm = 800;
    return out;
}
Conditions with(std::vector<Hookup> hookup) {
    Conditions out = idle();
    out.hookup = std::move(hookup);
    return out;
}
/// What lies between two takes that differ in one field.
template <class Value>
Tests between(std::optional<Value> Conditions::*field, std::optional<Value> plain, std::optional<Value> tested) {
    Conditions a = idle(), b = idle();
    a.*field = plain;
    b.*field = tested;
    return tests_between(a, b, true);
}

}  // namespace

TEST_CASE("tests lie between two takes where the second was made with all that the first was, and more", "[entry]") {
    Conditions plain;
    plain.engine = Engine::idle;
    plain.rpm = 760;
    Conditions tested = plain;
    CHECK(tests_between(plain, tested, true).empty());
    tested.hookup = {Hookup::isolator};
    CHECK(tests_between(plain, tested, true) == Tests{EntryTest::isolator});
    CHECK(tests_between(tested, plain, true).empty());   // the other way round it is none
    tested.source = SourceState::off;
    CHECK(tests_between(plain, tested, true) == Tests{EntryTest::source_off, EntryTest::isolator});   // two things at once
    tested = plain;
    tested.hookup = {Hookup::isolator};
    tested.rpm = 2000;
    CHECK(tests_between(plain, tested, true).empty());   // at another speed it isn't that test
    CHECK(tests_between(plain, tested, false) == Tests{EntryTest::isolator});   // unless the noise doesn't care
    tested.engine = Engine::off;
    CHECK(tests_between(plain, tested, false).empty());   // what runs with the engine's state may be gone for that
    tested = plain;
    tested.laptop = LaptopPower::battery;
    Conditions mains = plain;
    mains.laptop = LaptopPower::mains;
    CHECK(tests_between(mains, tested, true) == Tests{EntryTest::laptop_on_battery});
    Conditions charger = plain;
    charger.attached = {{"charger", PoweredFrom::vehicle}};
    CHECK(tests_between(charger, plain, true) == Tests{EntryTest::device_unplugged});
    Conditions fed_apart = charger;
    fed_apart.attached = {{"charger", PoweredFrom::own_battery}};
    CHECK(tests_between(charger, fed_apart, true) == Tests{EntryTest::device_unplugged});
    CHECK(tests_between(plain, charger, true).empty());
    Conditions loaded = plain;
    loaded.loads = {"headlights"};
    CHECK(tests_between(plain, loaded, true) == Tests{EntryTest::loads_on});
    CHECK(tests_between(plain, loaded, false).empty());   // the load may be what makes that noise
    Conditions asleep = plain;
    plain.amplifier = AmplifierState::on;
    asleep.amplifier = AmplifierState::off;
    CHECK(tests_between(plain, asleep, true).empty());
    Conditions floor;
    floor.hookup = {Hookup::inputs_shorted};
    CHECK(tests_between(plain, floor, true) == Tests{EntryTest::inputs_shorted});   // needs no engine
}

TEST_CASE("the source's state, its volume and its input are tests of it", "[entry]") {
    using S = SourceState;
    const auto source = [](std::optional<S> plain, std::optional<S> tested) { return between(&Conditions::source, plain, tested); };
    for (const std::optional<S> on : {std::optional<S>{}, std::optional(S::on)}) {
        CHECK(source(on, S::off) == Tests{EntryTest::source_off});
        CHECK(source(on, S::paused) == Tests{EntryTest::source_paused});
        CHECK(source(on, S::muted) == Tests{EntryTest::volume_zero});
        CHECK(source(S::off, on).empty());
    }
    CHECK(source(S::paused, S::off).empty());
    const auto volume = [](std::optional<double> plain, std::optional<double> tested) { return between(&Conditions::volume, plain, tested); };
    CHECK(volume(10, 0) == Tests{EntryTest::volume_zero});
    CHECK(volume(10, 5) == Tests{EntryTest::volume_zero});
    CHECK(volume(5, 10).empty());
    CHECK(volume({}, 5).empty());
    CHECK(volume(5, {}).empty());
    Conditions loud = idle(), muted = idle();
    loud.volume = 10;
    muted.volume = 5;
    muted.source = S::muted;
    CHECK(tests_between(loud, muted, true) == Tests{EntryTest::volume_zero});   // said twice, it is one test
    using I = SourceInput;
    const auto input = [](std::optional<I> plain, std::optional<I> tested) { return between(&Conditions::input, plain, tested); };
    CHECK(input(I::aux, I::tuner) == Tests{EntryTest::another_input});
    CHECK(input(I::aux, I::aux).empty());
    CHECK(input({}, I::aux).empty());
    CHECK(input(I::aux, {}).empty());
}

TEST_CASE("a laptop goes to its battery; what goes the other way, or to another feed, is no test", "[entry]") {
    using L = LaptopPower;
    const auto laptop = [](std::optional<L> plain, std::optional<L> tested) { return between(&Conditions::laptop, plain, tested); };
    CHECK(laptop(L::mains, L::battery) == Tests{EntryTest::laptop_on_battery});
    CHECK(laptop(L::vehicle, {}) == Tests{EntryTest::laptop_on_battery});
    CHECK(laptop(L::mains, L::vehicle).empty());
    CHECK(laptop({}, L::mains).empty());
    CHECK(laptop(L::battery, {}).empty());
    Conditions plain = idle(), tested = with({Hookup::isolator});
    tested.laptop = L::mains;
    CHECK(tests_between(plain, tested, true).empty());   // then nothing else counts either
    tested.laptop.reset();
    plain.amplifier = AmplifierState::off;
    CHECK(tests_between(plain, tested, true) == Tests{EntryTest::isolator});   // of the other nothing was said
    tested.amplifier = AmplifierState::off;
    CHECK(tests_between(plain, tested, true) == Tests{EntryTest::isolator});
    tested.point = Point::amp_output;
    CHECK(tests_between(plain, tested, true).empty());
}

TEST_CASE("each hookup is a test; a test speaker and a dummy together are one of their own", "[entry]") {
    for (int h = 0; h <= static_cast<int>(Hookup::test_speaker); ++h) {
        const auto hookup = static_cast<Hookup>(h);
        const auto test = test_of(hookup);
        CHECK(test.has_value() == (hookup != Hookup::normal));
        if (test) CHECK(word_of(*test) == to_word(hookup));
    }
    CHECK(hookups_of(with({Hookup::test_speaker, Hookup::normal, Hookup::isolator})) == std::vector<Hookup>{Hookup::isolator, Hookup::test_speaker});
    const Conditions plain = idle();
    CHECK(hookup_test(plain, with({Hookup::isolator})) == EntryTest::isolator);
    CHECK_FALSE(hookup_test(plain, with({Hookup::isolator, Hookup::temporary_lead})));
    CHECK_FALSE(hookup_test(plain, plain));
    CHECK_FALSE(hookup_test(with({Hookup::isolator}), plain));
    CHECK(hookup_test(with({Hookup::isolator}), with({Hookup::temporary_lead, Hookup::isolator})) == EntryTest::temporary_lead);
    CHECK_FALSE(hookup_test(with({Hookup::isolator}), with({Hookup::temporary_lead})));
    CHECK(hookup_test(plain, with({Hookup::test_speaker, Hookup::shorted_at_amp})) == EntryTest::test_speaker_on_dummy);
    CHECK(hookup_test(plain, with({Hookup::shorted_at_amp, Hookup::test_speaker})) == EntryTest::test_speaker_on_dummy);
    CHECK(hookup_test(plain, with({Hookup::test_speaker})) == EntryTest::test_speaker);
    CHECK(hookup_test(plain, with({Hookup::shorted_at_amp})) == EntryTest::shorted_at_amp);
    CHECK(tests_between(plain, with({Hookup::isolator, Hookup::test_speaker, Hookup::shorted_at_amp}), true) ==
          Tests{EntryTest::test_speaker_on_dummy, EntryTest::isolator});
    CHECK(tests_between(with({Hookup::inputs_shorted}), with({Hookup::inputs_shorted, Hookup::isolator}), true) == Tests{EntryTest::isolator});
    Conditions lead_off = with({Hookup::isolator});
    Conditions lead_on = idle();
    lead_on.attached = {{"charger", PoweredFrom::vehicle}, {"interface_output", PoweredFrom::none}, {"phone", PoweredFrom::vehicle}};
    CHECK(tests_between(lead_on, lead_off, true) == Tests{EntryTest::tone_lead_off, EntryTest::device_unplugged, EntryTest::isolator});
    lead_off.attached = {{"phone", PoweredFrom::vehicle}};
    CHECK(tests_between(lead_on, lead_off, true) == Tests{EntryTest::tone_lead_off, EntryTest::device_unplugged, EntryTest::isolator});
    lead_off.attached.push_back({"screen", PoweredFrom::vehicle});
    CHECK(tests_between(lead_on, lead_off, true).empty());   // something else came
}

TEST_CASE("more loads, and nothing that went, are a test of what turns with the engine", "[entry]") {
    const auto loads = [](std::vector<std::string> plain, std::vector<std::string> tested) {
        Conditions a = idle(), b = idle();
        a.loads = std::move(plain);
        b.loads = std::move(tested);
        return tests_between(a, b, true);
    };
    CHECK(loads({"fan"}, {"lights", "fan"}) == Tests{EntryTest::loads_on});
    CHECK(loads({"lights", "fan"}, {"fan", "lights"}).empty());
    CHECK(loads({"fan"}, {"lights"}).empty());
    CHECK(loads({"fan"}, {}).empty());
    Conditions off;
    CHECK(tests_between(off, off, true).empty());
    off.hookup = {Hookup::isolator};
    CHECK(tests_between(Conditions{}, off, true).empty());   // nothing turns
    CHECK(tests_between(Conditions{}, off, false) == Tests{EntryTest::isolator});
}

TEST_CASE("a speed is the same within 15 %, and where it isn't stated", "[entry]") {
    const auto same = [](std::optional<double> a_rpm, std::optional<double> b_rpm) {
        Conditions a = idle(), b = idle();
        a.rpm = a_rpm;
        b.rpm = b_rpm;
        return same_speed(a, b);
    };
    CHECK(same(919, 800));
    CHECK_FALSE(same(921, 800));
    CHECK(same(681, 800));
    CHECK_FALSE(same(679, 800));
    CHECK(same({}, 800));
    CHECK(same(800, {}));
    CHECK(same(0, 800));
    CHECK(same(800, 0));
    CHECK_FALSE(same_speed(idle(), Conditions{}));
}
