#include "../../../src/diagnose/entry/entry_words.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "../../../src/diagnose/entry/entry_conditions.hpp"
#include "hushtrace/vehicle/remedies.hpp"

using namespace hushtrace;

namespace {

EntryOutcome read(EntryTest test, double change, double sd = 1) {
    EntryOutcome out;
    out.test = test;
    out.change = change;
    out.sd = sd;
    out.takes = {"a", "b"};
    return out;
}
EntryOutcome heard(EntryTest test, const char* word) {
    EntryOutcome out = read(test, 0);
    out.heard = word;
    out.takes.clear();
    out.observations = {0};
    return out;
}
std::string text(const EntryOutcome& outcome) { return said(outcome, {}).text; }
bool tells(const EntryOutcome& outcome, const char* words) { return text(outcome).find(words) != std::string::npos; }

}  // namespace

TEST_CASE("an outcome is said with its change, its takes and what it is read in", "[entry]") {
    const Evidence fell = said(read(EntryTest::temporary_lead, -12.3, 0.7), {});
    CHECK(fell.text == "With another lead across the seats it falls by 12 dB.");
    CHECK(fell.value == -12.3);
    CHECK(fell.unit == "dB");
    CHECK(fell.sd == 0.7);
    CHECK(fell.takes == std::vector<std::string>{"a", "b"});
    CHECK(tells(read(EntryTest::temporary_lead, 2.1), "it rises by 2 dB"));
    CHECK(tells(read(EntryTest::temporary_lead, 1.9), "it stays as it is (+1.9 dB)"));
    CHECK(tells(read(EntryTest::temporary_lead, -1.9), "it stays as it is (-1.9 dB)"));
    CHECK(tells(read(EntryTest::temporary_lead, -2.1), "it falls by 2 dB"));
    CHECK(tells(heard(EntryTest::isolator, "louder"), "heard it louder."));
    EntryOutcome gone = read(EntryTest::temporary_lead, -25);
    gone.at_most = true;
    CHECK(tells(gone, "it is not found any more: 25 dB down at least"));
    gone.change = 3;
    CHECK(tells(gone, "0 dB down at least"));
    EntryOutcome both = read(EntryTest::temporary_lead, -12);
    both.also = {EntryTest::antenna_unplugged};
    CHECK(name_of(both) == "another lead across the seats and the antenna unplugged");
    both.also = {EntryTest::antenna_unplugged, EntryTest::source_paused};
    CHECK(name_of(both) == "another lead across the seats, the antenna unplugged and the source paused");
    CHECK(tells(both, "With another lead across the seats, the antenna unplugged and the source paused it falls by 12 dB."));
    EntryOutcome done = read(EntryTest::temporary_ground, -8, 1.5);
    done.done = "ground remade";
    const Evidence after = said(done, {});
    CHECK(after.text == "After \"ground remade\" it falls by 8 dB.");
    CHECK(after.value == -8);
    CHECK(after.unit == "dB");
    CHECK(after.sd == 1.5);
}

TEST_CASE("what the ear and the meter said is said as it was noted", "[entry]") {
    const Evidence ear = said(heard(EntryTest::source_paused, "quieter"), {});
    CHECK(ear.text == "With the source paused the ear heard it quieter.");
    CHECK(ear.observations == std::vector<std::size_t>{0});
    CHECK(ear.unit.empty());
    CHECK_FALSE(ear.sd);
    Job job;
    job.observations.resize(2);
    job.observations[1].value = 0.25;
    EntryOutcome meter = read(EntryTest::ground_drop, -0.6);
    meter.observations = {1};
    CHECK(said(meter, job).text.find("The amplifier's ground drops 0.25 V") == 0);
    CHECK(said(meter, job).value == 0.25);
    CHECK(said(meter, job).unit == "V");
    meter.test = EntryTest::shell_to_case;
    job.observations[1].value = 1500;
    CHECK(said(meter, job).text.find("From the source's jack shell to its case a meter reads 1.5e+03 ohm") == 0);
    CHECK(said(meter, job).unit == "ohm");
}

TEST_CASE("what lies in one take is said as what it is", "[entry]") {
    CHECK(text(read(EntryTest::left_against_right, 6.2)) == "Left carries it 6 dB louder than right.");
    CHECK(text(read(EntryTest::left_against_right, -6.2)) == "Right carries it 6 dB louder than left.");
    CHECK(text(read(EntryTest::left_against_right, 1.9)) == "Left and right carry it alike.");
    CHECK(text(read(EntryTest::left_against_right, -1.9)) == "Left and right carry it alike.");
    CHECK(text(read(EntryTest::front_against_rear, 2.1)) == "Front carries it 2 dB louder than rear.");
    CHECK(text(read(EntryTest::front_against_rear, -2.1)) == "Rear carries it 2 dB louder than front.");
    CHECK(text(read(EntryTest::level_wanders, 1.4)) == "Its level holds still within the take (1.4 dB).");
    CHECK(text(read(EntryTest::level_wanders, 1.6)).find("Its level strays by 1.6 dB within the take") == 0);
    const Evidence slope = said(read(EntryTest::supply_slope, 18), {});
    CHECK(slope.text.find("Over the supply's voltage it goes by +18 dB a decade") == 0);
    CHECK(slope.unit == "dB/decade");
}

TEST_CASE("what a test doesn't show is said beside it", "[entry]") {
    const char* carries = "So the lead's shield carries it";
    CHECK(tells(read(EntryTest::isolator, -6.1), carries));
    CHECK_FALSE(tells(read(EntryTest::isolator, -5.9), carries));
    CHECK(tells(heard(EntryTest::isolator, "gone"), carries));
    CHECK(tells(heard(EntryTest::isolator, "quieter"), carries));
    for (const char* word : {"same", "louder"}) CHECK_FALSE(tells(heard(EntryTest::isolator, word), carries));
    const char* convicts = "A pulled plug silences a ground loop too: it convicts nobody.";
    for (const EntryTest test : {EntryTest::dummy_floating, EntryTest::termination_1k, EntryTest::termination_10k, EntryTest::unplugged_at_source}) {
        CHECK(tells(read(test, -6.1), convicts));
        CHECK_FALSE(tells(read(test, -5.9), convicts));
    }
    CHECK_FALSE(tells(read(EntryTest::shorted_at_source, -20), convicts));
    for (const double change : {0.0, -20.0}) CHECK(tells(read(EntryTest::shorted_at_amp, change), "That judges only what lies behind the input."));
    CHECK(tells(read(EntryTest::loads_on, 1.9), "No rise excludes nothing."));
    CHECK_FALSE(tells(read(EntryTest::loads_on, 2.1), "No rise excludes nothing."));
    EntryOutcome both = read(EntryTest::isolator, -20);
    both.also = {EntryTest::antenna_unplugged};
    CHECK_FALSE(tells(both, carries));
}

TEST_CASE("noise that falls a little at volume zero has two parts, whose levels are said", "[entry]") {
    const auto volume = [](double change, double sd = 1) {
        EntryOutcome out = read(EntryTest::volume_zero, change, sd);
        out.plain_db = -40;
        return out;
    };
    // -6.02 dB leaves a quarter: three quarters came from before the control, 1.25 dB below the whole
    const std::string parts = text(volume(-6.0206));
    CHECK(parts.find("So 75 % of its power come from before the volume control (-41 dB), 25 % from behind it (-46 dB).") != std::string::npos);
    const char* so = "from before the volume control";
    CHECK(tells(volume(-2.1), so));   // 1.5 dB and half of its sd
    CHECK_FALSE(tells(volume(-1.9), so));
    CHECK(tells(volume(-3.1, 3), so));
    CHECK_FALSE(tells(volume(-2.9, 3), so));
    CHECK(tells(volume(-19.9), so));
    CHECK_FALSE(tells(volume(-20.1), so));
    EntryOutcome other = volume(-6);
    other.plain_db.reset();
    CHECK_FALSE(tells(other, so));
    other = volume(-6);
    other.at_most = true;
    CHECK_FALSE(tells(other, so));
    other = volume(-6);
    other.also = {EntryTest::isolator};
    CHECK_FALSE(tells(other, so));
    other = volume(-6);
    other.test = EntryTest::source_paused;
    CHECK_FALSE(tells(other, so));
}

TEST_CASE("each way in has what cures it, in the words by which that is noted", "[entry]") {
    struct Case {
        EntryWay way;
        const char* does;
        std::optional<EntryTest> shown_by;
        const char* done_as;
    };
    for (const Case& one : {Case{EntryWay::ground_loop, "Remake the amplifier's ground", EntryTest::temporary_ground, "ground remade"},
                            Case{EntryWay::pickup_loop, "away from the supply cable", EntryTest::temporary_lead, "lead rerouted"},
                            Case{EntryWay::pickup_lead, "away from the supply cable", EntryTest::temporary_lead, "lead rerouted"},
                            Case{EntryWay::pickup_capacitive, "braided shield", EntryTest::temporary_lead, "lead renewed"},
                            Case{EntryWay::source_supply, "into the source's supply lead", EntryTest::source_on_own_battery, "supply filter fitted"},
                            Case{EntryWay::source_internal, "the source itself repaired or changed", EntryTest::substitute_source, "source changed"},
                            Case{EntryWay::source_shield_open, "1 A fuse", EntryTest::source_shell_link, "shell link mended"},
                            Case{EntryWay::contact, "Renew the lead's plugs", EntryTest::temporary_lead, "lead renewed"},
                            Case{EntryWay::antenna_lead, "antenna's base", EntryTest::antenna_unplugged, "antenna mended"},
                            Case{EntryWay::amplifier_internal, "behind the input", EntryTest::amp_on_own_battery, ""},
                            Case{EntryWay::speaker_side, "speaker leads", std::nullopt, ""},
                            Case{EntryWay::measuring_setup, "laptop on its battery", EntryTest::laptop_on_battery, "set-up changed"}}) {
        INFO(plain_name(one.way));
        const Remedy remedy = remedy_of(one.way);
        CHECK(remedy.what.find(one.does) != std::string_view::npos);
        CHECK(remedy.shown_by == one.shown_by);
        CHECK(remedy.done_as == one.done_as);
        const auto known = remedy_words();
        const auto named = [&](const RemedyWords& words) { return words.words == remedy.done_as; };
        CHECK(std::any_of(known.begin(), known.end(), named) == !remedy.done_as.empty());
    }
}

TEST_CASE("a test is made by a condition as job.json spells it", "[entry]") {
    for (const EntryTest test : all_entry_tests()) {
        const TestCondition condition = condition_of(test);
        INFO(word_of(test));
        if (const auto hookup = from_word<Hookup>(condition.value); condition.field == "hookup" && hookup) {
            CHECK(test_of(*hookup) == test);
        } else if (facts_of(test).read_by == ReadBy::channels) {
            CHECK(condition.field.empty());
        } else if (facts_of(test).read_by == ReadBy::meter) {
            CHECK(condition.field == "what");
            CHECK(condition.value == word_of(test));
        } else {
            CHECK_FALSE(condition.field.empty());
        }
    }
    const auto is = [](EntryTest test, const char* field, const char* value) {
        const TestCondition condition = condition_of(test);
        return condition.field == field && condition.value == value;
    };
    CHECK(is(EntryTest::volume_zero, "volume", "0"));
    CHECK(is(EntryTest::source_paused, "source", "paused"));
    CHECK(is(EntryTest::source_off, "source", "off"));
    CHECK(is(EntryTest::another_input, "input", "another"));
    CHECK(is(EntryTest::laptop_on_battery, "laptop", "battery"));
    CHECK(is(EntryTest::tone_lead_off, "attached", "none"));
    CHECK(is(EntryTest::device_unplugged, "attached", "none"));
    CHECK(is(EntryTest::loads_on, "loads", "more"));
    CHECK(is(EntryTest::test_speaker_on_dummy, "hookup", "shorted_at_amp,test_speaker"));
}

TEST_CASE("what gets in nowhere has no entry; two ways are named together", "[entry]") {
    for (const NoiseKind kind : {NoiseKind::hiss, NoiseKind::clipping, NoiseKind::phone_burst}) CHECK_FALSE(has_an_entry(kind));
    for (const NoiseKind kind : {NoiseKind::alternator_whine, NoiseKind::mains_hum, NoiseKind::heard_only, NoiseKind::crackle})
        CHECK(has_an_entry(kind));
    EntrySet set;
    set.first = EntryWay::antenna_lead;
    CHECK(plain_name(set) == "the antenna lead");
    set.second = EntryWay::ground_loop;
    CHECK(plain_name(set) == "the antenna lead together with a ground loop");
}
