#pragma once
#include "../takes/take_survey.hpp"

namespace hushtrace {

/// One channel of a take as the report draws it, with the places of the findings that the take holds and their tracks.
TakePicture picture_of(const TakeSurvey& survey, std::size_t channel,
                       const NoiseAnalysis& analysis);

}  // namespace hushtrace
