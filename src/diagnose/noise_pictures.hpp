#pragma once
#include "take_survey.hpp"

namespace hushtrace {

/// One channel of a take as the report draws it, with the places of the findings that the take holds.
TakePicture picture_of(const TakeSurvey& survey, std::size_t channel,
                       const std::vector<NoiseSource>& sources);

}  // namespace hushtrace
