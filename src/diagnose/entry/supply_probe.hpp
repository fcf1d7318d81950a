#pragma once
#include <list>
#include <optional>
#include <string>
#include <vector>

#include "../sources/noise_parts.hpp"
#include "hushtrace/job/job_folder.hpp"

/// The supply as a probe: takes that have the 12 V line's voltage, or a clamp on its cable, beside a signal.
namespace hushtrace {

/// Reads the sources' lines against the supply in every such take, and the feed's impedance where voltage and current were
/// taken together; each is held against the take without the probe. Fills supply_transfers and feed_impedances; what can't be
/// used is said in a warning.
///   analysis  has its noise sources and their traces
void read_supply_probes(NoiseAnalysis& analysis, const std::list<TakeSurvey>& surveys, const OpenedJob& job);

/// What the slope of a source's level over the supply's voltage may weigh, as it would be behind a feed that is all inductance:
/// capacitive pick-up 20 dB a decade, magnetic pick-up 0, a shared resistance -20. Nothing where there is none, where the probe
/// spoilt it, it is vague, spans less than half a decade, or the feed is such that pick-up of both kinds goes alike.
struct SupplySlope {
    double db_per_decade = 0, sd = 0;
    std::vector<std::string> takes;
};
std::optional<SupplySlope> slope_that_weighs(const NoiseAnalysis& analysis, const std::string& source_id);

}  // namespace hushtrace
