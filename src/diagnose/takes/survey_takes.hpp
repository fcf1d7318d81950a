#pragma once
#include <future>
#include <vector>

#include "take_survey.hpp"

namespace hushtrace {

/// Surveys these takes by survey_take, as many at once as the machine has cores, four at most: each holds a minute of sound.
/// The futures are in the order of the takes and ready; get() throws what the survey threw.
std::vector<std::future<TakeSurvey>> survey_takes(const OpenedJob& job, const std::vector<const Take*>& takes);

}  // namespace hushtrace
