#pragma once
#include <optional>
#include <span>
#include <vector>

#include "take_survey.hpp"

/// Trains of clicks in a take's channels: at most two rates, each in all channels where it is heard.
namespace hushtrace {

/// Fills in a channel's trains. One of a rate too slow for the spectrum of an envelope is left to the bursts.
void find_clicks(ChannelSurvey& channel, std::span<const double> samples, double sample_rate_hz);

/// A train that lifts the power at its clicks by less than half is a flutter, no row of clicks.
inline constexpr double kLeastContrast_db = 1.5;
/// The strongest train of clicks of any channel, if it stands out enough; null if none.
const ImpulseTrain* strongest_clicks(const TakeSurvey& survey);

/// Where any channel's trains click, ascending.
std::vector<SoundSpan> spans_of_clicks(const TakeSurvey& survey, double most_s);

/// The channel's train of this rate, or null.
const ImpulseTrain* train_of_rate(const ChannelSurvey& channel, double rate_hz);

/// The strongest train of another rate than `first_hz` and its multiples and fractions, if it stands out enough; null if none.
const ImpulseTrain* other_clicks(const TakeSurvey& survey, double first_hz);

/// Power of all that clicks or bursts in a channel [full scale squared].
double power_of_clicks(const ChannelSurvey& channel);

/// Whether a take has clicks of this rate, by their train or by bursts that come evenly.
bool has_clicks_of(const TakeSurvey& survey, double rate_hz);

}  // namespace hushtrace
