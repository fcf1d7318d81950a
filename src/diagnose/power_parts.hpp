#pragma once
#include <string>

#include "hushtrace/diagnose/power_analysis.hpp"

/// The parts of the power analysis.
namespace hushtrace {

/// Charging voltage of a 12 V or 24 V supply [V]: 14 or 28 (common practice, no source).
inline double charging_v(const Job& job) {
    return job.vehicle.supply_v.value_or(12.0) / 12.0 * 14.0;
}

/// Fuses, cables and drops; fills all of it but the feed's ripple.
void size_supply(const Job& job, PowerAnalysis& out);
/// What ripple the feed lets through to the amplifiers: FeedEstimate.
void estimate_ripple(const Job& job, PowerAnalysis& out);
/// What the supply takes show.
void read_ripple(const OpenedJob& job, const OpenTake& open, PowerAnalysis& out);
/// What to beware of while any of it is done.
std::vector<std::string> power_cautions(const Job& job);

}  // namespace hushtrace
