#pragma once
#include <span>
#include <vector>

#include "take_survey.hpp"

namespace hushtrace {

/// Looks through one channel's stretch for what holds still or comes in bursts; fills the survey's parts for it.
///   of_trains  where clicks sound whose train is known: no bursts are looked for there
void survey_steady(ChannelSurvey& channel, std::span<const double> samples, double sample_rate_hz, const std::vector<SoundSpan>& of_trains);

/// Bursts and the clicks of trains, as far as they leave half of the time between them where each takes so long; else none: the
/// ringing of faster ones is part of the usual noise.
std::vector<double> moments_of_clicks(const Bursts& bursts, double each_s);

}  // namespace hushtrace
