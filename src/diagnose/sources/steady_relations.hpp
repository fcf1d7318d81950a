#pragma once
#include <list>

#include "noise_parts.hpp"

namespace hushtrace {

/// What the takes' conditions say of a source that does not follow the engine: the load, device, input or supply with
/// which it comes and goes, in pairs of takes that differ in that alone; where all takes with it and none without
/// have it in common, that. A tone that nothing explains is named by what it comes and goes with.
void relate_to_conditions(NoiseSource& source, const std::list<TakeSurvey>& surveys);

}  // namespace hushtrace
