#include "steady_taken.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "converter_noise.hpp"

namespace hushtrace {
namespace {

constexpr double kMostOfATurn = 0.3;            // of the clicks' rate: their lines' skirts leave the rest to others
constexpr double kHasSkirts = 200.0;           // surprise of a tooth whose skirts stand over the noise
constexpr double kOscillatorStrays = 1e-4;    // of a switching rate within a take: common practice, no source

/// Whether what was followed as a moving line is one that holds still, jittered by the noise.
bool holds_still(const TakeSurvey& survey, const MovingFamily& family) {
    for (const ChannelSurvey& channel : survey.channels)
        for (const StillLine& line : channel.still.lines)
            if (line.steady && line.present_share > 0.75 &&
                std::abs(line.frequency_hz - family.mean_hz) < std::max(2.0, 1.5 * family.wander * family.mean_hz))
                return true;
    return false;
}

/// Whether a line that holds still stands where a moving one strays about: of that one no single bin holds half.
bool stands_in_the_smear(const TakeSurvey& survey, const OrderLine& line, double strays_hz, double frequency_hz) {
    constexpr double smeared_hz = 4.0, half = 0.5, hann_bins = 1.5;
    const double bin_hz = survey.channels.front().still.bin_hz, moving = *std::max_element(line.mean_square.begin(), line.mean_square.end());
    return strays_hz > smeared_hz && hann_bins * bin_hz * power_at(survey, frequency_hz, bin_hz) > half * moving;
}

/// Whether a frequency belongs to a family that moves: the whine's, or one that strays by more than a still line's width.
bool of_a_family(const TakeSurvey& survey, const SpokenFor& spoken, double frequency_hz) {
    for (std::size_t i = 0; i < survey.families.size(); ++i) {
        const MovingFamily& family = survey.families[i];
        const bool whine = spoken.whine_family == i;
        if (!whine && (family.significance < kSureFamily || holds_still(survey, family))) continue;
        for (const OrderLine& line : family.lines) {
            const double centre = line.ratio * family.mean_hz, strays = family.wander * centre;
            if (!whine && strays < 1.0) continue;
            if (std::abs(frequency_hz - centre) < 2.0 + 2.5 * strays && !stands_in_the_smear(survey, line, strays, frequency_hz)) return true;
        }
    }
    return false;
}

/// Where clicks' lines run together: a line that stands over them all round is none of theirs, nor is one where they don't reach.
bool among_click_lines(const TakeSurvey& survey, double about_hz, double frequency_hz) {
    constexpr double over_noise = 6.0, clear = 10.0;
    double most = 0;
    for (const double steps : {-1.0, 1.0}) most = std::max(most, power_at(survey, frequency_hz + steps * about_hz, 0.5 * about_hz));
    const bool clicks_reach = std::any_of(survey.channels.begin(), survey.channels.end(), [&](const ChannelSurvey& channel) {
        return !channel.still.density.empty() && most > over_noise * channel.still.noise[channel.still.bin_of(frequency_hz)];
    });
    return clicks_reach && power_at(survey, frequency_hz, 1.0) < clear * most;
}

/// How far the lobe of the clicks' nearest line reaches over the noise [Hz]. A Hann window's lobes fall as 1 / (pi d^3) of the
/// amplitude, d bins off (Harris 1978, "On the use of windows", Proc. IEEE 66(1)).
double skirt_of_tooth(const TakeSurvey& survey, double rate_hz, double frequency_hz) {
    constexpr double main_lobe = 2.0;
    const double tooth_hz = rate_hz * std::round(frequency_hz / rate_hz);
    double reach = 0;
    for (const ChannelSurvey& channel : survey.channels) {
        const StillSpectrum& s = channel.still;
        if (s.density.empty()) continue;
        const std::size_t k = s.bin_of(tooth_hz);
        if (s.noise[k] > 0.0)
            reach = std::max(reach, s.bin_hz * std::max(main_lobe, std::cbrt(std::sqrt(s.density[k] / s.noise[k]) / std::numbers::pi)));
    }
    return reach;
}

/// The clicks' own lines; none is theirs that stands over their next ones on both sides by more than their own differ.
bool sharp_click_line(const TakeSurvey& survey, const SpokenFor::Clicks& clicks, double frequency_hz) {
    const double rate = clicks.rate_hz, away = std::abs(std::remainder(frequency_hz, rate));
    const double smear = 2.0 * clicks.wander * frequency_hz;
    constexpr double resolved_hz = 6.0;     // slower clicks' lines run together in bins of 1 Hz
    if (smear > 0.5 * rate || rate < resolved_hz) return among_click_lines(survey, std::max(rate, resolved_hz), frequency_hz);
    const double reach = std::min(1.5 + smear, std::max(1.5, 0.25 * rate));
    if (frequency_hz < 0.8 * rate || away >= std::max(reach, std::min(skirt_of_tooth(survey, rate, frequency_hz), kMostOfATurn * rate))) return false;
    double next = 0;
    for (const double steps : {-1.0, 1.0}) next = std::max(next, power_at(survey, frequency_hz + steps * rate, reach));
    return power_at(survey, frequency_hz, 1.0) < 10.0 * next;
}

/// Where clicks whose rate strays smear their lines: the bins there are spiky, not as noise is.
bool smeared_by_clicks(const SpokenFor& spoken, double frequency_hz) {
    return std::any_of(spoken.clicks.begin(), spoken.clicks.end(), [frequency_hz](const SpokenFor::Clicks& clicks) {
        if (frequency_hz < 0.8 * clicks.rate_hz) return false;
        return std::abs(std::remainder(frequency_hz, clicks.rate_hz)) < 2.0 + 3.0 * clicks.wander * frequency_hz;
    });
}

/// Whether the set-up itself has a line there, as strong with its inputs shorted: to 3 dB.
bool of_the_set_up(const SpokenFor& spoken, const TakeSurvey& survey, double frequency_hz) {
    for (const TakeSurvey* floor : spoken.floor_takes)
        for (std::size_t c = 0; c < std::min(floor->channels.size(), survey.channels.size()); ++c) {
            const StillSpectrum &there = floor->channels[c].still, &here = survey.channels[c].still;
            if (there.density.empty() || here.density.empty()) continue;
            const auto own = there.peak_near(frequency_hz, there.bin_hz);
            if (own.surprise > 9.0 && own.mean_square > 0.5 * here.peak_near(frequency_hz, here.bin_hz).mean_square) return true;
        }
    return false;
}

}  // namespace

double power_at(const TakeSurvey& survey, double frequency_hz, double reach_hz) {
    double most = 0;
    for (const ChannelSurvey& channel : survey.channels) {
        const StillSpectrum& s = channel.still;
        if (s.density.empty()) continue;
        for (std::size_t k = s.bin_of(frequency_hz - reach_hz); k <= s.bin_of(frequency_hz + reach_hz); ++k)
            most = std::max(most, s.density[k]);
    }
    return most;
}

bool Taken::holds(const TakeSurvey& survey, double frequency_hz) const {
    if (std::any_of(lines_hz.begin(), lines_hz.end(), [&](double one) { return std::abs(frequency_hz - one) < 2.5; })) return true;
    return std::any_of(combs.begin(), combs.end(), [&](const Comb& comb) {
        const double n = std::round(frequency_hz / comb.spacing_hz);
        const double reach = std::min(1.0 + n * std::max(2.0 * comb.spacing_sd_hz, kOscillatorStrays * comb.spacing_hz), 0.1 * comb.spacing_hz);
        return n >= 1.0 && std::abs(frequency_hz - n * comb.spacing_hz) < reach &&
               power_at(survey, frequency_hz, 1.0) * survey.channels.front().still.bin_hz < comb.most_mean_square;
    });
}

SteadySearch search_of(const TakeSurvey& survey, const SpokenFor& spoken, const Taken& taken) {
    SteadySearch search;
    search.survey = &survey;
    for (std::size_t c = 0; c < survey.channels.size(); ++c) {
        const ChannelSurvey& channel = survey.channels[c];
        if (channel.silent || channel.still.density.empty()) continue;
        search.spectra.push_back(&channel.still);
        search.channel_of.push_back(c);
    }
    search.places.spoken_for = [&survey, &spoken, &taken](double f) {
        if (std::any_of(spoken.known_hz.begin(), spoken.known_hz.end(),
                        [f](double known) { return std::abs(f - known) < std::max(3.0, 0.002 * known); }))
            return true;
        if (taken.holds(survey, f) || is_of_pulses(survey, f)) return true;
        if (std::any_of(spoken.clicks.begin(), spoken.clicks.end(), [&](const auto& clicks) { return sharp_click_line(survey, clicks, f); }))
            return true;
        return of_a_family(survey, spoken, f) || of_the_set_up(spoken, survey, f);
    };
    search.places.doubtful = [&spoken](double f) { return smeared_by_clicks(spoken, f); };
    return search;
}

void take_in(const LineComb& comb, Taken& taken) {
    for (const CombTooth& tooth : comb.teeth)
        for (const double skirt_hz : {-4.0, 0.0, 4.0})
            if (skirt_hz == 0.0 || tooth.surprise > kHasSkirts) taken.lines_hz.push_back(tooth.frequency_hz + skirt_hz);
    if (comb.teeth.size() < 3) return;
    double most = 0;
    for (const CombTooth& tooth : comb.teeth) most = std::max(most, tooth.total());
    taken.combs.push_back({comb.spacing_hz * std::max(1, comb.common_divisor()), comb.spacing_sd_hz, most});
}

}  // namespace hushtrace
