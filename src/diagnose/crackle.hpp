#pragma once
#include <functional>
#include <list>
#include <vector>

#include "noise_parts.hpp"

namespace hushtrace {

/// Whose a train's clicks are.
using JudgeClicks = std::function<ClicksInTake(const ImpulseTrain&)>;

/// Bursts at even times as clicks of their own or the engine's, which join `clicks`; the others at odd times as crackle,
/// with the marks near them. What keeps the time of a train that is known (`clicks`) is left to it.
void add_bursts(std::list<NoiseSource>& sources, const TakeSurvey& survey, std::vector<ClicksInTake>& clicks, const JudgeClicks& judge);

}  // namespace hushtrace
