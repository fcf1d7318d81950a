#pragma once
#include <span>

#include "take_survey.hpp"

namespace hushtrace {

/// Looks through one channel's stretch for what holds still or comes in bursts; fills the survey's parts for it.
void survey_steady(ChannelSurvey& channel, std::span<const double> samples, double sample_rate_hz);

}  // namespace hushtrace
