#pragma once
#include "take_survey.hpp"

namespace hushtrace {

/// The noise floor of a take's channel as it is told, the interface's own taken off where that is meaningful.
FloorReading floor_of(const TakeSurvey& survey, std::size_t channel, const Job& job);

/// Says what a low sample rate could not carry.
void warn_of_band(const TakeSurvey& survey, NoiseAnalysis& out);

}  // namespace hushtrace
