#pragma once
#include "take_survey.hpp"

namespace hushtrace {

/// How well an interface's floor repeats from one take to the next [dB]: common practice, no source.
inline constexpr double kOwnNoiseSd_db = 0.3;

/// The noise floor of a take's channel as it is told, the interface's own taken off where that is meaningful.
FloorReading floor_of(const TakeSurvey& survey, std::size_t channel, const Job& job);

/// Says what a low sample rate could not carry.
void warn_of_band(const TakeSurvey& survey, NoiseAnalysis& out);

}  // namespace hushtrace
