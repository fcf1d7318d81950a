#pragma once
#include <list>
#include <optional>

#include "noise_parts.hpp"

namespace hushtrace {

/// Bursts at odd times as crackle, with the marks near them; at even times as clicks of their own, where no train was
/// found by its rate: that rate is returned. What keeps the time of a train that is known (`clicks`) is left to it.
std::optional<double> add_bursts(std::list<NoiseSource>& sources, const TakeSurvey& survey, const ClicksInTake* clicks);

}  // namespace hushtrace
