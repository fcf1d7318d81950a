#include "hushtrace/vehicle/entry_tables.hpp"

#include <charconv>
#include <stdexcept>
#include <string>

namespace hushtrace {
namespace {

using T = EntryTest;

// The table's language: a law, or several with "|" between. "0" no change (sd 1.5); "F" to the floor; "-13~4" that mean and sd; "3*" before a law
// gives it that weight against the others. "-" the test says nothing of this way: it is left out of the sum.
struct Row {
    EntryTest test = EntryTest::inputs_shorted;
    std::array<std::string_view, kEntryWays> change;
};

// dB. Ways:                    ground loop | loop pick-up | lead pick-up | capacitive | source supply | inside source | shell link open | contact | antenna | amplifier | speakers | set-up
constexpr std::array kHookupRows = {
    Row{T::inputs_shorted,        {"F",        "F",        "F",        "F",        "F",        "F",        "F",        "F",              "F",        "F",        "F",         "0|4*F"}},
    Row{T::volume_zero,           {"0",        "0",        "0",        "0",        "F|0",      "2*F|0",    "0",        "0",              "0",        "0",        "0",         "0"}},
    Row{T::source_paused,         {"0",        "0",        "0",        "0",        "0",        "F|0",      "0",        "0",              "0",        "0",        "0",         "0"}},
    Row{T::source_off,            {"2*0|-5~3", "0",        "0",        "0",        "F",        "F",        "2*0|-5~3", "0",              "0",        "0",        "0",         "0"}},
    Row{T::another_input,         {"0",        "0",        "0",        "0",        "2*0|F",    "F|0",      "0",        "0",              "2*0|F",    "0",        "0",         "0"}},
    Row{T::laptop_on_battery,     {"0",        "0",        "0",        "0",        "0",        "0",        "0",        "0",              "0",        "0",        "0",         "4*F|0"}},
    Row{T::tone_lead_off,         {"0",        "0",        "0",        "0",        "0",        "0",        "0",        "0",              "0",        "0",        "0",         "F|2*0"}},
    Row{T::device_unplugged,      {"2*0|F",    "0",        "0",        "0",        "0",        "0",        "0",        "0",              "0",        "0",        "0",         "0"}},
    Row{T::loads_on,              {"4~4",      "4~4",      "4~4",      "4~4",      "4~4",      "0|4~4",    "4~4",      "4~4",            "2~3",      "4~4",      "2~3",       "0|4~4"}},
    Row{T::shorted_at_amp,        {"F",        "F",        "F",        "F",        "F",        "F",        "F",        "F",              "F",        "9*0|F",    "0",         "F"}},
    Row{T::lead_on_dummy_at_amp,  {"F",        "F",        "F",        "F",        "F",        "F",        "F",        "F",              "F",        "0",        "0",         "F"}},
    Row{T::test_speaker,          {"0",        "0",        "0",        "0",        "0",        "0",        "0",        "0",              "0",        "0",        "F",         "0"}},
    Row{T::test_speaker_on_dummy, {"F",        "F",        "F",        "F",        "F",        "F",        "F",        "F",              "F",        "9*0|F",    "F",         "F"}},
    Row{T::isolator,              {"F",        "F",        "0",        "0",        "0",        "0",        "F",        "3*F|0",          "F",        "9*0|F",    "0",         "6*F|0"}},
    Row{T::amp_on_own_battery,    {"F",        "3*F|0",    "3*F|0",    "3*F|0",    "2~2.5",    "0",        "F|-8~5",   "2*F|-8~5",       "F|-8~5",   "F|0",      "2*F|0|8~5", "2~2.5"}},
    Row{T::dummy_floating,        {"F",        "F",        "0",        "F",        "F",        "F",        "F",        "F",              "F",        "9*0|F",    "0",         "6*F|0"}},
    Row{T::termination_1k,        {"F",        "F",        "-1~1.5",   "14~6",     "F",        "F",        "F",        "F",              "F",        "9*0|F",    "0",         "6*F|0"}},
    Row{T::termination_10k,       {"F",        "F",        "-4.4~1.5", "28~8",     "F",        "F",        "F",        "F",              "F",        "9*0|F",    "0",         "6*F|0"}},
    Row{T::unplugged_at_source,   {"F",        "F",        "F",        "38~8",     "F",        "F",        "F",        "F",              "F",        "9*0|F",    "0",         "6*F|0"}},
    Row{T::shorted_at_source,     {"-2~1.5",   "-1.5~1.5", "0",        "F",        "F",        "F",        "F",        "2*-0.5~1.5|F",   "-1.5~1.5", "0",        "0",         "2*-1~2|F"}},
    Row{T::temporary_lead,        {"0~2",      "-13~5|F",  "-16~6|F",  "F",        "0",        "0",        "0",        "3*F|-4~4",       "0~2",      "0",        "0",         "0"}},
    Row{T::temporary_ground,      {"-8~4",     "1~2",      "0",        "0",        "0",        "0",        "-3~4",     "-3~4",           "-6~4",     "2*0|-4~3", "0",         "0|-4~4"}},
    Row{T::source_shell_link,     {"0",        "0",        "0",        "0",        "0",        "0",        "2*F|-9~5", "F|-5~5|2*0",     "0",        "0",        "0",         "0"}},
    Row{T::shell_link_at_amp,     {"2~5",      "3~4",      "0|9~6",    "0|12~8",   "0|3~4",    "0",        "-7~5",     "2~7",            "1~5",      "0|8~6",    "0|5~5",     "-4~4"}},
    Row{T::antenna_unplugged,     {"0",        "0",        "0",        "0",        "0",        "0",        "0",        "0",              "F",        "0",        "0",         "0"}},
    Row{T::source_isolated,       {"F",        "F",        "0",        "0",        "F|0",      "0",        "F",        "F|0",            "F",        "9*0|F",    "0",         "0"}},
    Row{T::source_on_own_battery, {"F",        "F",        "0",        "0",        "F",        "0",        "F",        "F|0",            "F",        "9*0|F",    "0",         "F|0"}},
    Row{T::substitute_source,     {"F",        "F",        "0",        "0~4",      "F",        "F",        "F",        "F|0",            "F",        "9*0|F",    "0",         "6*F|0"}},
    Row{T::left_against_right,    {"0~1.5",    "0~2",      "0~4",      "0~5",      "0~2",      "0~4",      "0~2",      "2*0~14|0~3",     "0~2",      "0~4",      "0~6",       "0~3"}},
    Row{T::front_against_rear,    {"0~3",      "0~5",      "0~5",      "0~6",      "0~4",      "0~6",      "0~4",      "0~10",           "0~3",      "0~4",      "0~6",       "0~6"}},
    // dB by which the level strays within a take: a joint that moves
    Row{T::level_wanders,         {"0.4~0.4",  "0.4~0.4",  "0.4~0.4",  "0.4~0.4",  "0.4~0.4",  "0.4~0.4",  "0.4~0.4",  "3~2",            "0.4~0.4",  "0.4~0.4",  "0.4~0.4",   "0.4~0.4"}},
    // dB a decade against the voltage of an inductive feed: it never ranks a loop against pick-up
    Row{T::supply_slope,          {"-2~13",     "-2~13",    "-2~13",    "18~10",    "3~13",     "0~20",     "-2~13",    "-2~13",          "-2~13",    "0~20",     "-2~13",     "0~20"}},
    // log10 of volts: good below 0.1, a fault above 0.2; but an amplifier that draws little drops little. log10 of ohms: near 0 when healthy, open when burnt
    Row{T::ground_drop,           {"-1.2~0.5", "-1.7~0.5", "-1.7~0.5", "-1.7~0.5", "-1.7~0.5", "-1.7~0.5", "-1.4~0.5", "-1.4~0.5",       "-1.6~0.5", "-1.4~0.5", "-1.7~0.5",  "-1.7~0.5"}},
    Row{T::shell_to_case,         {"-1.5~0.5", "-1.5~0.5", "-1.5~0.5", "-1.5~0.5", "-1.5~0.5", "-1.5~0.5", "3.5~2",    "-1.5~0.5|0.5~1", "-1.5~0.5", "-1.5~0.5", "-1.5~0.5",  "-1.5~0.5"}},
};

// What does not turn with the engine: its own maker takes the engine's place, so that loads and devices are only the maker's own switch.
constexpr std::array kFixedRows = {
    Row{T::source_paused,         {"0",        "0",        "0",        "0",        "0|F",      "2*F|0",    "0",        "0",              "0",        "0",        "0",         "0"}},
    Row{T::device_unplugged,      {"-",        "-",        "-",        "-",        "-",        "-",        "-",        "-",              "-",        "-",        "-",         "-"}},
    Row{T::loads_on,              {"-",        "-",        "-",        "-",        "-",        "-",        "-",        "-",              "-",        "-",        "-",         "-"}},
    Row{T::laptop_on_battery,     {"0",        "0",        "0",        "0",        "0",        "0",        "0",        "0",              "0",        "0",        "0",         "4*F|0"}},
};

double number(std::string_view text) {
    double value = 0;
    const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (fault != std::errc{} || end != text.data() + text.size()) throw std::logic_error("entry table: " + std::string(text));
    return value;
}

std::vector<ChangeLaw> laws_of(std::string_view cell) {
    constexpr double usual_sd = 1.5, floor_sd = 6.0;
    std::vector<ChangeLaw> laws;
    if (cell == "-") return laws;
    double sum = 0;
    while (!cell.empty()) {
        const auto bar = cell.find('|');
        std::string_view one = cell.substr(0, bar);
        cell = bar == std::string_view::npos ? std::string_view{} : cell.substr(bar + 1);
        ChangeLaw law;
        if (const auto star = one.find('*'); star != std::string_view::npos) {
            law.share = number(one.substr(0, star));
            one = one.substr(star + 1);
        }
        const auto tilde = one.find('~');
        law.sd = tilde != std::string_view::npos ? number(one.substr(tilde + 1)) : one == "F" ? floor_sd : usual_sd;
        one = one.substr(0, tilde);
        law.mean = one == "F" ? kToFloor_db - floor_sd : number(one);
        sum += law.share;
        laws.push_back(law);
    }
    for (ChangeLaw& law : laws) law.share /= sum;
    return laws;
}

using Table = std::array<std::array<std::vector<ChangeLaw>, kEntryWays>, kEntryTests>;

Table table_of(bool follows_engine) {
    Table table;
    const auto put = [&table](const Row& row) {
        for (std::size_t w = 0; w < kEntryWays; ++w) table[static_cast<std::size_t>(row.test)][w] = laws_of(row.change[w]);
    };
    for (const Row& row : kHookupRows) put(row);
    if (!follows_engine)
        for (const Row& row : kFixedRows) put(row);
    return table;
}

constexpr std::array<EntryTestFacts, kEntryTests> kFacts = {{
    {T::inputs_shorted, "the set-up's inputs shorted", ReadBy::take, 2, false, "Take the Y lead off and short the interface's inputs at the probe; capture with --hookup inputs_shorted."},
    {T::volume_zero, "the source's volume at zero", ReadBy::take, 1, false, "Turn the source's volume to zero; capture with --volume 0."},
    {T::source_paused, "the source paused", ReadBy::take, 1, false, "Pause the source; capture with --source paused."},
    {T::source_off, "the source off, its remote line held on", ReadBy::take, 1, false, "Switch the source off while its remote line stays on, so that the amplifier stays awake; capture with --source off."},
    {T::another_input, "another input of the source", ReadBy::take, 1, false, "Switch the source to another input; capture with --input and its name."},
    {T::laptop_on_battery, "the laptop on its battery", ReadBy::take, 1, false, "Pull the laptop's charger, and every lead but the interface's; capture with --laptop battery."},
    {T::tone_lead_off, "the tone lead off the source", ReadBy::take, 2, false, "Take the interface's output lead off the source; play tones from a stick instead."},
    {T::device_unplugged, "an attached device unplugged", ReadBy::take, 1, false, "Unplug the device; capture with it left out of --attached."},
    {T::loads_on, "more electrical loads", ReadBy::take, 1, false, "Engine held at 1500 to 2000 rpm, lights and rear defogger on; capture with --loads and their names. No rise excludes nothing."},
    {T::shorted_at_amp, "a dummy plug in the amplifier's input", ReadBy::ear, 3, false, "Amplifier off, a shorted dummy plug alone into its input, amplifier on: listen. Note --observe noise_heard."},
    {T::lead_on_dummy_at_amp, "the lead plugged onto the dummy at the amplifier", ReadBy::ear, 4, false, "Amplifier off, the lead onto the dummy plug in the amplifier's input, amplifier on: listen."},
    {T::test_speaker, "a test speaker straight at the amplifier", ReadBy::ear, 5, false, "Amplifier off, its speaker leads off, a test speaker at its terminals: listen. Bridged outputs: neither wire may touch ground."},
    {T::test_speaker_on_dummy, "a test speaker straight at the amplifier, a dummy plug in its input", ReadBy::ear, 5, false, "The dummy plug in the amplifier's input, amplifier off, its speaker leads off, a test speaker at its terminals, amplifier on: listen. Bridged outputs: neither wire may touch ground. Note --observe noise_heard."},
    {T::isolator, "an isolating transformer in the lead", ReadBy::take, 3, false, "Amplifier off, an isolator between lead and amplifier; capture with --hookup isolator, and take it out again."},
    {T::amp_on_own_battery, "the amplifier on a floating battery", ReadBy::take, 15, false, "Amplifier off, its supply and ground leads off the vehicle and onto a battery of its own, fused; capture with --hookup amp_on_own_battery."},
    {T::dummy_floating, "the source end of the lead in a shorted dummy plug that touches nothing", ReadBy::take, 3, true, "Amplifier off, source end of the lead into the dummy plug, touching nothing, amplifier on; capture with --hookup dummy_floating."},
    {T::termination_1k, "the source end of the lead in 1 kOhm", ReadBy::take, 3, true, "Amplifier off, source end of the lead into a plug with 1 kOhm, touching nothing; capture with --hookup termination_1k."},
    {T::termination_10k, "the source end of the lead in 10 kOhm", ReadBy::take, 3, true, "Amplifier off, source end of the lead into a plug with 10 kOhm, touching nothing; capture with --hookup termination_10k."},
    {T::unplugged_at_source, "the lead unplugged at the source", ReadBy::take, 3, true, "Amplifier off, the lead out of the source, its end open; gain down, since open ends hum; capture with --hookup unplugged_at_source."},
    {T::shorted_at_source, "the source end in a dummy plug on the source's jack", ReadBy::take, 3, true, "Amplifier off, source end of the lead into a dummy plug whose shell sits on the source's jack; capture with --hookup shorted_at_source."},
    {T::temporary_lead, "another lead across the seats", ReadBy::take, 8, true, "Amplifier off, another lead between the same jacks, across the seats; capture with --hookup temporary_lead."},
    {T::temporary_ground, "a fused strap from the source's case to the amplifier's ground", ReadBy::take, 5, true, "Only where the amplifier's own ground is sound: a fused strap from the source's case to it; capture with --hookup temporary_ground, and take it off."},
    {T::source_shell_link, "a fused link from the lead's shell to the source's case", ReadBy::take, 3, true, "Amplifier off, a link with a 1 A fuse from the lead's shell to the source's case; capture with --hookup source_shell_link."},
    {T::shell_link_at_amp, "a fused link from the lead's shell to ground at the amplifier", ReadBy::take, 3, false, "Amplifier off, a link with a 1 A fuse from the lead's shell to ground at the amplifier; capture with --hookup shell_link_at_amp, and take it off: a test, no cure."},
    {T::antenna_unplugged, "the antenna unplugged", ReadBy::take, 2, true, "Pull the antenna lead out of the source; capture with --hookup antenna_unplugged."},
    {T::source_isolated, "the source out of the dash, fed from the amplifier's terminals", ReadBy::take, 15, true, "The source out of the dash, touching no metal, fed with a fuse from the amplifier's terminals; capture with --hookup source_isolated."},
    {T::source_on_own_battery, "the source on a floating battery", ReadBy::take, 15, true, "The source out of the dash on a battery of its own, fused, touching no metal; capture with --hookup source_on_own_battery."},
    {T::substitute_source, "another source, on its own battery", ReadBy::take, 20, true, "A phone or player on its own battery in the source's place; capture with --hookup substitute_source."},
    {T::left_against_right, "left against right", ReadBy::channels, 0, false, ""},
    {T::front_against_rear, "front against rear", ReadBy::channels, 0, false, ""},
    {T::level_wanders, "how far it strays within a take", ReadBy::channels, 0, false, ""},
    {T::supply_slope, "the slope over the supply's voltage", ReadBy::channels, 0, false, ""},
    {T::ground_drop, "the amplifier's ground drop", ReadBy::meter, 4, false, "Meter from the amplifier's ground terminal to battery negative, amplifier and loads on, signal leads out. Note --observe ground_drop."},
    {T::shell_to_case, "ohms from the source's jack shell to its case", ReadBy::meter, 3, true, "Leads out, source off: ohms from the jack's shell to the source's case. Note --observe shell_to_case."},
}};

constexpr std::array<EntryTest, kEntryTests> every_test() {
    std::array<EntryTest, kEntryTests> all{};
    for (std::size_t i = 0; i < kEntryTests; ++i) all[i] = static_cast<EntryTest>(i);
    return all;
}
constexpr std::array<EntryTest, kEntryTests> kAll = every_test();

constexpr bool in_order() {
    for (std::size_t i = 0; i < kEntryTests; ++i)
        if (kFacts[i].test != kAll[i]) return false;
    return true;
}
static_assert(in_order(), "facts stand in the order of the tests");

}  // namespace

std::string_view path_of(EntryWay way) {
    constexpr std::array<std::string_view, kEntryWays> words = {"ground_loop", "cable_pickup", "cable_pickup", "cable_pickup", "source_supply", "source_internal",
                                                                "source_shield_open", "contact", "antenna_lead", "amplifier_internal", "speaker_side", "measuring_setup"};
    return words[static_cast<std::size_t>(way)];
}

std::optional<std::string_view> mechanism_of(EntryWay way) {
    switch (way) {
        case EntryWay::pickup_loop: return "loop";
        case EntryWay::pickup_lead: return "lead";
        case EntryWay::pickup_capacitive: return "capacitive";
        default: return std::nullopt;
    }
}

std::string_view plain_name(EntryWay way) {
    constexpr std::array<std::string_view, kEntryWays> words = {
        "a ground loop", "magnetic pick-up into the loop of shield and body", "magnetic pick-up into the lead itself", "capacitive pick-up into the lead",
        "the source's supply", "the source itself", "the source's burnt shell link", "a bad contact in lead or plug", "the antenna lead",
        "the amplifier or its supply", "the speaker leads", "the measuring set-up"};
    return words[static_cast<std::size_t>(way)];
}

std::string_view word_of(EntryTest test) {
    constexpr std::array<std::string_view, kEntryTests> words = {
        "inputs_shorted", "volume_zero", "source_paused", "source_off", "another_input", "laptop_on_battery", "tone_lead_off",
        "device_unplugged", "loads_on", "shorted_at_amp", "lead_on_dummy_at_amp", "test_speaker", "test_speaker_on_dummy", "isolator", "amp_on_own_battery",
        "dummy_floating", "termination_1k", "termination_10k", "unplugged_at_source", "shorted_at_source", "temporary_lead",
        "temporary_ground", "source_shell_link", "shell_link_at_amp", "antenna_unplugged", "source_isolated", "source_on_own_battery",
        "substitute_source", "left_against_right", "front_against_rear", "level_wanders", "supply_slope", "ground_drop", "shell_to_case"};
    return words[static_cast<std::size_t>(test)];
}

bool is_behind_the_input(EntryWay way) { return way == EntryWay::amplifier_internal || way == EntryWay::speaker_side; }

std::span<const ChangeLaw> expected_change(EntryTest test, EntryWay way, bool follows_engine) {
    static const Table engine = table_of(true), fixed = table_of(false);
    return (follows_engine ? engine : fixed)[static_cast<std::size_t>(test)][static_cast<std::size_t>(way)];
}

const EntryTestFacts& facts_of(EntryTest test) { return kFacts[static_cast<std::size_t>(test)]; }
std::span<const EntryTest> all_entry_tests() { return kAll; }

}  // namespace hushtrace
