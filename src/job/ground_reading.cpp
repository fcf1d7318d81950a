#include "hushtrace/job/ground_reading.hpp"

#include <fmt/format.h>

#include <cmath>

namespace hushtrace {
namespace {

/// With the amplifier off no current flows in its ground: volts on the shell come from the source's side.
std::string_view remedy_of(std::string_view reading) {
    if (reading == shell_reading)
        return "look for a wrong plug, a speaker-level wire that serves as the shell, a source without a ground of its own";
    return "mend the amplifier's ground first (bare metal, short, thick, tight)";
}

}  // namespace

GroundState ground_state(const Job& job, std::string_view reading) {
    GroundState state = GroundState::missing;
    for (const Observation& one : job.observations) {
        if (one.what != reading) continue;
        if (one.value)
            state = std::abs(*one.value) > highest_ground_volts ? GroundState::bad : GroundState::settled;
        else if (one.declined && state != GroundState::bad)  // a bad ground is not talked away
            state = GroundState::settled;
    }
    return state;
}

std::string bad_ground_text(std::string_view reading, double volts) {
    return fmt::format("{}: {:.3g} V is more than {:.1f} V. Stop, connect nothing: {}; then read again", reading, volts, highest_ground_volts,
                       remedy_of(reading));
}

std::optional<std::string> stop_reason(const Observation& seen) {
    if (seen.what == "amplifier_wakes" && seen.heard == "only_with_lead")
        return "an amplifier that wakes only with the signal lead plugged in has lost its own ground: its supply current returns through the "
               "lead's shield. Connect no interface; pull the lead, mend the ground";
    const bool ground = seen.what == drop_reading || seen.what == shell_reading;
    if (ground && std::abs(seen.value.value_or(0.0)) > highest_ground_volts) return bad_ground_text(seen.what, *seen.value);
    return std::nullopt;
}

}  // namespace hushtrace
