#pragma once
#include <span>
#include <vector>

#include "take_survey.hpp"

namespace hushtrace {

/// Looks above 3.5 kHz for lines that sweep faster than an engine or a motor does, through windows of 20 and 50 ms. What the
/// search for wandering lines explains better (a whine's multiple, say) is left to it; so is what hardly moves.
///   stretches  [channels] the sound as captured
std::vector<Beat> find_beats(const TakeSurvey& survey, const std::vector<std::span<const double>>& stretches);

/// Evidence [ln] from which a lone high line of the search for wandering lines is a beat as well: beside what is far louder, that
/// one's remains reach more than noise does.
double least_evidence_of_beat(const TakeSurvey& survey);

}  // namespace hushtrace
