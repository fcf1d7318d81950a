#pragma once
#include <string>

#include "hushtrace/diagnose/power_analysis.hpp"

/// The parts of the power analysis.
namespace hushtrace {

/// Charging voltage of the job's supply [V].
inline double charging_v(const Job& job) {
    return charging_v(job.vehicle.supply_v.value_or(12.0));
}

/// Fuses, cables and drops; fills all of it but the feed's ripple.
///   throws Error invalid_request when a branch bears a name that two amplifiers share
void size_supply(const Job& job, PowerAnalysis& out);
/// What ripple the feed lets through to the amplifiers: FeedEstimate.
void estimate_ripple(const Job& job, PowerAnalysis& out);
/// What the supply takes show.
void read_ripple(const OpenedJob& job, const OpenTake& open, PowerAnalysis& out);
/// What to beware of while any of it is done.
std::vector<std::string> power_cautions(const Job& job);

}  // namespace hushtrace
