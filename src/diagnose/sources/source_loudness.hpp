#pragma once
#include <list>

#include "../takes/take_survey.hpp"

namespace hushtrace {

/// What the takes themselves say of each source's loudness, in its loudest take and channel: its lines with their levels,
/// and how far they stand over the noise in the ear's filter round them. judge_loudness() does the rest.
void measure_loudness(const std::list<TakeSurvey>& surveys, NoiseAnalysis& analysis);

/// An evidence for each source that a take with two like channels holds: whether both carry it alike, and what that
/// speaks for. Levels are compared in volts where both channels are calibrated.
void add_side_evidence(const std::list<TakeSurvey>& surveys, NoiseAnalysis& analysis);

}  // namespace hushtrace
