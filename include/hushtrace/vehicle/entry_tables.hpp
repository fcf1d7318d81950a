#pragma once
#include <array>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

/// What is known of the ways by which noise gets into the signal: which test changes it by how much, and what each test costs.
/// docs/entry-paths.md gives the physics and the sources of every row.
namespace hushtrace {

/// The entry paths, with the mechanisms of pick-up apart.
enum class EntryWay {
    ground_loop, pickup_loop, pickup_lead, pickup_capacitive, source_supply, source_internal, source_shield_open, contact,
    antenna_lead, amplifier_internal, speaker_side, measuring_setup
};
inline constexpr std::size_t kEntryWays = 12;
std::string_view path_of(EntryWay way);                        ///< as in the contract: "cable_pickup"
std::optional<std::string_view> mechanism_of(EntryWay way);    ///< "loop", "lead", "capacitive"
std::string_view plain_name(EntryWay way);                     ///< for people: "a ground loop"
/// Whether noise that comes this way is there at the amplifier's input, or behind it alone.
bool is_behind_the_input(EntryWay way);

/// What can be changed between two takes, all else alike; or be read with a meter.
enum class EntryTest {
    inputs_shorted, volume_zero, source_paused, source_off, another_input, laptop_on_battery, tone_lead_off, device_unplugged, loads_on,
    shorted_at_amp, lead_on_dummy_at_amp, test_speaker, test_speaker_on_dummy, isolator, amp_on_own_battery, dummy_floating, termination_1k, termination_10k,
    unplugged_at_source, shorted_at_source, temporary_lead, temporary_ground, source_shell_link, shell_link_at_amp, antenna_unplugged,
    source_isolated, source_on_own_battery, substitute_source, left_against_right, front_against_rear, level_wanders, supply_slope, ground_drop, shell_to_case
};
inline constexpr std::size_t kEntryTests = 34;
std::string_view word_of(EntryTest test);                      ///< as job.json spells it, where a hookup or an observation makes it: "isolator"

/// One of the ways in which a level may change: a normal law, with the chance of it.
struct ChangeLaw {
    double share = 1, mean = 0, sd = 1;
};
/// What a test does to noise that comes by one way [dB; of meters log10 of volts or ohms; level_wanders dB, sd;
/// supply_slope dB a decade]: a mixture of laws.
///   follows_engine  whether the noise turns with the engine: a table of its own for what doesn't
std::span<const ChangeLaw> expected_change(EntryTest test, EntryWay way, bool follows_engine);
/// A change of this much and more is a fall to the floor: what remains is something else's.
inline constexpr double kToFloor_db = -25.0;
/// No deeper fall is told: what lies under the floor isn't told from it.
inline constexpr double kDeepestFall_db = -31.0;

/// How a test's outcome is read.
enum class ReadBy { take, ear, meter, channels };
struct EntryTestFacts {
    EntryTest test;
    std::string_view name;        ///< for people: "the source end of the lead in a dummy plug that touches nothing"
    ReadBy read_by;
    double minutes;               ///< labour
    bool behind_the_source;       ///< wants the source's back reached first
    std::string_view hands;       ///< what to do, one or two sentences
};
const EntryTestFacts& facts_of(EntryTest test);
std::span<const EntryTest> all_entry_tests();
/// Labour of reaching the back of the source, once.
inline constexpr double kReachSource_min = 20.0;
inline constexpr std::string_view kReachSource_word = "reach_source";   ///< as job.json spells it beside the tests

}  // namespace hushtrace
