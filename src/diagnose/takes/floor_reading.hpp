#pragma once
#include "take_survey.hpp"

namespace hushtrace {

/// How well an interface's floor repeats from one take to the next [dB]: common practice, no source.
inline constexpr double kOwnNoiseSd_db = 0.3;

/// The noise floor of a take's channel as it is told, the interface's own taken off where that is meaningful.
FloorReading floor_of(const TakeSurvey& survey, std::size_t channel, const Job& job);

/// Thirds of octaves of a channel, in volts too where it is calibrated.
std::vector<FloorBand> bands_of(const ChannelSurvey& channel);
/// Takes the interface's own noise off the bands where a take with the inputs shorted tells it, and says where that is all that is seen.
void settle_bands(std::vector<FloorReading>& floor, const Job& job);

/// Says what a low sample rate could not carry.
void warn_of_band(const TakeSurvey& survey, NoiseAnalysis& out);

}  // namespace hushtrace
