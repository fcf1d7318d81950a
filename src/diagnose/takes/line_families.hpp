#pragma once
#include "line_search.hpp"

namespace hushtrace {

constexpr double kHighestOrder_hz = 10000.0;  ///< of lines that turn with a followed one

/// Follows the lines that wander and gathers, for up to three of them, what turns with each: fills `ridges` and `families` of
/// the survey, whose spectra, lines, clicks and log must be there.
///   stretches  [channels] the sound as captured
///   sounds     [channels] the same, thinned to kHighestOrder_hz
void follow_lines(TakeSurvey& survey, const std::vector<std::span<const double>>& stretches, const std::vector<ThinnedSound>& sounds);

/// Where the lines of a family together are strongest.
std::size_t loudest_channel(const MovingFamily& family);

}  // namespace hushtrace
