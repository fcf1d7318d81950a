#include "steady_survey.hpp"

#include "hushtrace/measure/column_map.hpp"
#include "hushtrace/measure/hunting_pulses.hpp"
#include "hushtrace/vehicle/steady_signatures.hpp"

namespace hushtrace {
namespace {

constexpr double kLineFalseAlarms = 0.001;  // lines that noise alone makes, a channel of a take
constexpr double kBrief_s = 0.25;
constexpr double kPulseSurprise = 8.3;      // of hunting pulses
constexpr double kPhoneSurprise = 8.3;      // 1 in 4000 by chance, a channel of a take

constexpr double kClickRings_s = 0.013;

}  // namespace

std::vector<double> moments_of_clicks(const Bursts& bursts, double each_s) {
    std::vector<double> moments_s;
    if (static_cast<double>(bursts.events.size() + bursts.left_out.size()) * each_s > 0.5 * bursts.duration_s) return moments_s;
    for (const Burst& burst : bursts.events) moments_s.push_back(burst.time_s);
    for (const SoundSpan& span : bursts.left_out) moments_s.push_back(0.5 * (span.from_s + span.to_s));
    return moments_s;
}

void survey_steady(ChannelSurvey& channel, std::span<const double> samples, double sample_rate_hz, const std::vector<SoundSpan>& of_trains) {
    const ColumnMap map = column_map(samples, sample_rate_hz);
    channel.still = still_spectrum(map, kLineFalseAlarms);
    channel.brief = still_spectrum(column_map(samples, sample_rate_hz, kBrief_s), 0.3 * kLineFalseAlarms);
    CombPlaces frames;
    frames.most_number = 92;
    channel.phone =
        find_comb_stretch(map, channel.still, PhoneFrames::rate_hz, PhoneFrames::tolerance, frames, kPhoneSurprise);
    channel.humps = find_humps(map, channel.still);
    BurstSearch bursts;
    bursts.left_out = of_trains;
    channel.bursts = find_bursts(samples, sample_rate_hz, bursts);
    // a train's clicks are cut out first: loud, they would ring through the whitening
    std::vector<double> unclicked;
    if (channel.clicks) unclicked = blank_clicks(samples, sample_rate_hz, *channel.clicks);
    if (channel.clicks && channel.other_clicks) unclicked = blank_clicks(unclicked, sample_rate_hz, *channel.other_clicks);
    channel.pulses = find_hunting_pulses(channel.clicks ? std::span<const double>(unclicked) : samples, sample_rate_hz, kPulseSurprise,
                                         moments_of_clicks(channel.bursts, kClickRings_s));
}

}  // namespace hushtrace
