#pragma once
#include <span>
#include <vector>

#include "hushtrace/measure/thinned_sound.hpp"
#include "take_survey.hpp"

namespace hushtrace {

/// A line that wanders, as it was found.
struct FollowedRidge {
    Ridge ridge;
    std::size_t channel = 0;
    double window_s = 0;      ///< through which its track may be read
    double significance = 0;  ///< standard deviations by which it stands out of what lies beside its track
};

/// The lines that wander, of all channels that carry signal, that which stands out most first. Where the take has a log of the
/// engine's speed, what follows it is searched for as well.
///   stretches  [channels] the sound as captured
///   sounds     [channels] the same, thinned
std::vector<FollowedRidge> find_wandering_lines(const TakeSurvey& survey, const std::vector<std::span<const double>>& stretches,
                                                const std::vector<ThinnedSound>& sounds);

/// The sound without its rumble and with its clicks cut down: for looking for lines, not for reading levels. Clicks make combs of
/// lines by the dozen, which hide a whine; cut at a few times the usual size they all but vanish, tones stay.
std::vector<double> without_clicks(std::span<const double> samples, double sample_rate_hz, const ChannelSurvey& channel);
/// A sound without its rumble and with its clicks cut down, not blanked: a loud line's gaps would splash.
std::vector<double> cut_down(std::span<const double> samples, double sample_rate_hz);
/// Lines that hold still, for a search to pass by: those of a spectrum, and a phone's, which come and go.
std::vector<PassedLine> passed_lines(const TakeSurvey& survey, const ChannelSurvey& channel);
/// Channels that carry signal, the one that holds most from 300 Hz to 6 kHz first.
std::vector<std::size_t> loudest_first(const TakeSurvey& survey);

}  // namespace hushtrace
