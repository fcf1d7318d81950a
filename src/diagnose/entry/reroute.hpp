#pragma once
#include <optional>

#include "hushtrace/job/job.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/vehicle/entry_tables.hpp"

/// What another route of the signal lead brings, from where it lies and from what a lead across the seats showed. docs/cures.md has the formulas.
namespace hushtrace {

/// A change as it was measured [dB].
struct ChangeSeen {
    double change_db = 0, sd_db = 2;
    bool at_most = false;  ///< it fell by that much at least
};

/// Change of a pick-up [dB] when the lead comes to lie `separation_m` from the supply cable, all else as it is. Weighs the geometry of the job
/// (tape measure: the separation and heights to 20 %) with the test, where it was made.
///   way      pickup_loop, pickup_lead or pickup_capacitive; any other way isn't touched by a route: 0 dB
///   returns  nothing where neither the separation nor a test is known
std::optional<Reading> reroute_change(EntryWay way, const CableData& cables, const std::optional<ChangeSeen>& across_seats, double separation_m);

/// What the geometry alone lets the lead across the seats bring; nothing where the separation isn't known.
std::optional<Reading> across_seats_change(EntryWay way, const CableData& cables);

bool is_pickup(EntryWay way);

}  // namespace hushtrace
