#include "beat_search.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/tracked_power.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/vehicle/engine_orders.hpp"
#include "line_search.hpp"
#include "steady_survey.hpp"
#include "take_kind.hpp"

namespace hushtrace {
namespace {

constexpr double kFrom_hz = 3500.0, kTo_hz = 20000.0;
constexpr double kLeastEvidence = 30.0;   // noise alone passes 8 in one stretch of 3000 at most (Markov's inequality); what sounds beside it, 18
/// Noise that pulses or clicks is not as even as that bound takes for granted: only what nobody doubts stands out of it.
constexpr double kEvidenceBesidePulses = 60.0;
constexpr double kClickTakes_s = 0.04;    // a click and the windows that it falls into
constexpr std::size_t kMostBeats = 2;    // a channel
constexpr double kLeavesBehind = 0.05;   // of its evidence
constexpr double kLeastWander = 0.003;   // of its frequency, rms: less is a steady line's, or hops between neighbours
constexpr double kLeastWanderRunning = 0.03;   // an engine's own lines wander by less while it idles or is held
constexpr double kMostWanderRunning = 0.12;
constexpr double kWindow_s = 0.02;       // through which its power is read

/// What one channel shows is in the others too, more faintly.
double least_evidence(const TakeSurvey& survey) {
    double least = kLeastEvidence;
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.pulses) least = kEvidenceBesidePulses;
    return least;
}

double log_evidence_of_slow_line(std::span<const double> sound, double rate, const Track& track, const std::vector<PassedLine>& still) {
    constexpr double around = 0.03;
    const auto [low, high] = std::minmax_element(track.frequency_hz.begin(), track.frequency_hz.end());
    RidgeSearch slow;
    slow.from_hz = *low * (1.0 - around);
    slow.to_hz = *high * (1.0 + around);
    slow.still = still;
    return line_log_evidence(sound, rate, slow);
}

/// Up to where a take's line may be an alternator's.
double highest_whine_hz(const Take& take) {
    constexpr double sets = 2.0, dial = 1.06, fastest_rpm = 4500.0;
    if (!engine_active(take)) return 0.0;
    const Conditions& c = take.conditions;
    const double rpm = c.rpm && *c.rpm > 0.0 ? dial * *c.rpm : c.engine == Engine::idle ? IdleSpeed::high : fastest_rpm;
    return sets * WhineConstants::possible_high * rpm;
}

std::vector<double> power_in_channels(const std::vector<std::span<const double>>& stretches, double rate, const Track& track) {
    std::vector<double> power;
    for (const auto& samples : stretches) {
        try {
            power.push_back(power_along(samples, rate, track, 1.0, kWindow_s).mean_square.value);
        } catch (const Error&) {   // at the band's end, or too short
            power.push_back(0.0);
        }
    }
    return power;
}

}  // namespace

double least_evidence_of_beat(const TakeSurvey& survey) {
    double loudest = 0;
    for (const MovingFamily& family : survey.families) loudest = std::max(loudest, family.ridge.log_evidence);
    for (const Beat& beat : survey.beats) loudest = std::max(loudest, beat.ridge.log_evidence);
    return std::max(kLeastEvidence, kLeavesBehind * loudest);
}

std::vector<Beat> find_beats(const TakeSurvey& survey, const std::vector<std::span<const double>>& stretches) {
    std::vector<Beat> found;
    // an engine that is revved sweeps its own lines as fast
    if (survey.rpm_log || survey.take->conditions.engine == Engine::sweep) return found;
    const double rate = survey.sample_rate_hz;
    RidgeSearch search;
    search.from_hz = kFrom_hz;
    search.to_hz = kTo_hz;
    search.nimble = true;
    search.most_ridges = kMostBeats;
    double loudest = 0;
    // through windows so short a phone's many lines run together, and it comes and goes
    if (std::any_of(survey.channels.begin(), survey.channels.end(), [](const ChannelSurvey& one) { return one.phone.has_value(); })) return found;
    for (const std::size_t c : loudest_first(survey)) {
        search.least_log_evidence = least_evidence(survey);
        search.still = passed_lines(survey, survey.channels[c]);
        search.clicks_s = moments_of_clicks(survey.channels[c].bursts, kClickTakes_s);
        // clicks that follow each other too fast to be passed over are blanked, and what that leaves is doubted more
        const bool dense = survey.channels[c].clicks && search.clicks_s.empty();
        if (dense) search.least_log_evidence = kEvidenceBesidePulses;
        const std::vector<double> cleared =
            dense ? without_clicks(stretches[c], rate, survey.channels[c]) : cut_down(stretches[c], rate);
        for (Ridge& ridge : find_ridges(cleared, rate, search)) {
            search.known.push_back(ridge);
            // what a loud line leaves of itself, once it is taken out, is no other
            if (ridge.log_evidence < kLeavesBehind * loudest) continue;
            loudest = std::max(loudest, ridge.log_evidence);
            const double mean_hz = ridge.track.mean_hz(), wander = ridge.track.wander();
            if (wander < (mean_hz < highest_whine_hz(*survey.take) ? kLeastWanderRunning : kLeastWander)) continue;
            // beside an engine, a path that goes so far hops between that one's lines
            if (engine_active(*survey.take) && wander > kMostWanderRunning) continue;
            // with the engine at rest nothing that turns makes so high a line
            if (engine_active(*survey.take) && log_evidence_of_slow_line(cleared, rate, ridge.track, search.still) > ridge.log_evidence) continue;
            Beat beat{std::move(ridge), c, mean_hz, wander, {}};
            beat.mean_square = power_in_channels(stretches, rate, beat.ridge.track);
            found.push_back(std::move(beat));
        }
    }
    return found;
}

}  // namespace hushtrace
