#pragma once
#include <list>

#include "noise_parts.hpp"

namespace hushtrace {

/// Noise that an ear reports in conditions whose take holds nothing but hiss: it comes from behind the amplifier's
/// input. Has no level, no frequency and no takes.
void add_heard_only(std::list<NoiseSource>& sources, const std::list<TakeSurvey>& surveys, const Job& job);

}  // namespace hushtrace
