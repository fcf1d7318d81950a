#pragma once
#include <functional>
#include <list>
#include <vector>

#include "noise_parts.hpp"

namespace hushtrace {

/// Whose a train's clicks are.
using JudgeClicks = std::function<ClicksInTake(const ImpulseTrain&)>;

/// Clear bursts of one take at odd times.
struct OddBursts {
    const TakeSurvey* survey = nullptr;
    std::vector<Burst> events;
};

/// Bursts at even times as clicks of their own or the engine's, which join `clicks`; the others are given back. What keeps
/// the time of a train that is known (`clicks`) or may be there is left to it.
OddBursts add_bursts(std::list<NoiseSource>& sources, const TakeSurvey& survey, std::vector<ClicksInTake>& clicks, const JudgeClicks& judge);

/// Crackle, where bursts lie in three different half seconds and more over all takes, two of them in one take; with the
/// marks near them. `ticks_hz` are rates of clicks that no engine makes, of any take: they may be weak in another.
void add_crackle(std::list<NoiseSource>& sources, std::vector<OddBursts> takes, const std::vector<double>& ticks_hz);

}  // namespace hushtrace
