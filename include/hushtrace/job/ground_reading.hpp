#pragma once
#include <optional>
#include <string>
#include <string_view>

#include "hushtrace/job/job.hpp"

/// The two readings of a meter that come before any lead, and what a bad one means.
namespace hushtrace {

/// Volts between two grounds above which nothing may be connected: a bad ground sends the amplifier's supply
/// current through the signal lead's shield. A ground drop above 0.2 V under load is a fault (a small-vehicle
/// service manual's voltage-drop limit); the same limit for the shell is the rule of this program.
inline constexpr double highest_ground_volts = 0.2;

/// The two readings of the check, by their name in observations.
inline constexpr std::string_view shell_reading = "shell_to_amplifier_ground";
inline constexpr std::string_view drop_reading = "ground_drop";

enum class GroundState {
    settled,  ///< read and good, or declined
    missing,  ///< neither read nor declined
    bad       ///< the last reading is above highest_ground_volts, either way round
};
/// By the last observation of that name; one without a value that wasn't declined counts for nothing.
GroundState ground_state(const Job& job, std::string_view reading);

/// What the user is told when a reading is above the limit: which part to mend goes by the reading. `volts` has a sign.
std::string bad_ground_text(std::string_view reading, double volts);

/// Why this observation says that nothing may be connected: a ground reading above the limit, or an amplifier that wakes only
/// with the signal lead. Empty when it doesn't.
std::optional<std::string> stop_reason(const Observation& seen);

}  // namespace hushtrace
