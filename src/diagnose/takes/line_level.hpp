#pragma once
#include <vector>

#include "take_survey.hpp"

/// What the noise round a line leaves open of its level.
namespace hushtrace {

/// A tone's mean square with its limit: noise, where that leaves more than 0.5 dB open.
Reading limited_by_noise(Reading mean_square);

/// The level of one channel's lines together [dBFS]. Variance of the mean square: the noise's own in the lines' bins,
/// and its beating with the lines, over the time that was averaged (Bendat and Piersol, Random Data, section 8.2).
Reading level_of_lines(const ChannelSurvey& channel, double mean_square, const std::vector<double>& lines_hz);

/// A line as it is told among a source's harmonics.
Harmonic harmonic_of(const ChannelSurvey& channel, double number, double frequency_hz, double mean_square);

/// Whether the noise bulges at rest where the line moves with the engine running, about as much: a narrow band of noise that is
/// always there (a converter's) strings together to a line as well.
bool bulges_alike(const TakeSurvey& running, const TakeSurvey& off, double frequency_hz, double wander);

}  // namespace hushtrace
