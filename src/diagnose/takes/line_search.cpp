#include "line_search.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <utility>

#include "hushtrace/measure/guided_ridges.hpp"
#include "hushtrace/measure/tracked_power.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/wide_vectors.hpp"

namespace hushtrace {
namespace {

/// So much better must a line explain the sound than noise [ln]: noise alone reaches it in one stretch of 400 at most
/// (Markov's inequality, where the noise's law holds). A vehicle has some four to six stretches: takes times channels.
constexpr double kLeastEvidence = 6.0;
constexpr double kMostLogLag_s = 3.0;  // tried where lines are searched along a log

constexpr double kFollowedWindow_s = 0.08, kLoggedWindow_s = 0.3;

constexpr std::size_t kLanes = 4;   // samples at a time, each with a running product of its own: the next needn't wait for the last

/// A line's turns, four samples at a time.
struct Turning {
    explicit Turning(double omega) : step_re(std::cos(kLanes * omega)), step_im(std::sin(kLanes * omega)) {
        for (std::size_t i = 0; i < kLanes; ++i) {
            re[i] = std::cos(omega * static_cast<double>(i));
            im[i] = std::sin(omega * static_cast<double>(i));
        }
    }
    void go_on() {
        for (std::size_t i = 0; i < kLanes; ++i) {
            const double next = re[i] * step_re - im[i] * step_im;
            im[i] = re[i] * step_im + im[i] * step_re;
            re[i] = next;
        }
    }
    double step_re, step_im;
    std::array<double, kLanes> re{}, im{};
};

/// Fits a line of one frequency and takes it out [radians a sample].
HUSHTRACE_WIDE_VECTORS void take_line_out(std::span<double> sound, double omega) {
    const std::size_t whole = sound.size() / kLanes * kLanes;
    std::array<double, kLanes> cosines{}, sines{};
    Turning turning(omega);
    for (std::size_t n = 0; n < whole; n += kLanes, turning.go_on())
        for (std::size_t i = 0; i < kLanes; ++i) {
            cosines[i] += sound[n + i] * turning.re[i];
            sines[i] += sound[n + i] * turning.im[i];
        }
    for (std::size_t n = whole; n < sound.size(); ++n) {
        cosines[n - whole] += sound[n] * turning.re[n - whole];
        sines[n - whole] += sound[n] * turning.im[n - whole];
    }
    const double scale = 2.0 / static_cast<double>(sound.size());
    const double a = scale * (cosines[0] + cosines[1] + cosines[2] + cosines[3]), b = scale * (sines[0] + sines[1] + sines[2] + sines[3]);
    turning = Turning(omega);
    for (std::size_t n = 0; n < whole; n += kLanes, turning.go_on())
        for (std::size_t i = 0; i < kLanes; ++i) sound[n + i] -= a * turning.re[i] + b * turning.im[i];
    for (std::size_t n = whole; n < sound.size(); ++n) sound[n] -= a * turning.re[n - whole] + b * turning.im[n - whole];
}

/// Takes the strong still lines out, second by second: blanking clicks would give them sidebands that turn
/// with the engine.
std::vector<double> without_still_lines(std::span<const double> samples, double rate,
                                        std::vector<SpectralLine> lines) {
    std::vector<double> out(samples.begin(), samples.end());
    std::erase_if(lines, [](const SpectralLine& line) {
        return line.prominence_db < 15.0 || line.sharpness_db < 10.0;
    });
    std::sort(lines.begin(), lines.end(),
              [](const SpectralLine& a, const SpectralLine& b) { return a.mean_square > b.mean_square; });
    if (lines.size() > 40) lines.resize(40);
    const auto stretch = static_cast<std::size_t>(rate);
    for (std::size_t from = 0; from < out.size(); from += stretch) {
        const std::size_t count = std::min(stretch, out.size() - from);
        for (const SpectralLine& line : lines)
            take_line_out(std::span(out).subspan(from, count), 2.0 * std::numbers::pi * line.frequency_hz / rate);
    }
    return out;
}

/// The sound without its rumble, and cut at a few times its usual size.
std::vector<double> without_peaks(std::vector<double> out, double rate) {
    const double keep =
        std::exp(-2.0 * std::numbers::pi * 250.0 / rate);  // high-pass at 250 Hz, first order, twice
    for (int pass = 0; pass < 2; ++pass) {
        double before = 0, result = 0;
        for (double& sample : out) {
            result = keep * (result + sample - before);
            before = sample;
            sample = result;
        }
    }
    std::vector<double> sizes;
    for (std::size_t i = 0; i < out.size(); i += 7) sizes.push_back(std::abs(out[i]));
    if (sizes.empty()) return out;
    const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
    std::nth_element(sizes.begin(), middle, sizes.end());
    const double most = 3.0 * 1.4826 * *middle;
    if (most > 0.0)
        for (double& sample : out) sample = std::clamp(sample, -most, most);
    return out;
}

/// How far a followed line stands out of what lies beside its track [standard deviations].
double significance_of(const Track& track, const ThinnedSound& sound, double window_s) {
    try {
        return power_along(sound.samples, sound.rate_hz, track, 1.0, window_s).over_noise_sd;
    } catch (const Error&) {
        return 0.0;  // above the band, or too short
    }
}

/// The engine's speed by its log, where that covers the take and the speed moves: what to search along.
std::optional<Track> logged_speed(const TakeSurvey& survey) {
    constexpr double least_share = 0.8, least_rpm = 100.0, apart_s = 0.05, least_wander = 0.001;
    if (!survey.rpm_log || survey.rpm_log->known_s(0.0, survey.duration_s) < least_share * survey.duration_s) return std::nullopt;
    Track speed;
    const double from_s = survey.rpm_log->time_s.front(), to_s = survey.rpm_log->time_s.back();
    double last = 0;
    for (double t = from_s; t <= to_s; t += apart_s) {
        last = survey.rpm_log->at(t).value_or(last);  // over a gap as it was before
        if (last < least_rpm) return std::nullopt;
        speed.time_s.push_back(t - from_s);
        speed.frequency_hz.push_back(last);
    }
    if (speed.time_s.size() < 5 || speed.wander() < least_wander) return std::nullopt;
    for (double& t : speed.time_s) t += from_s;
    return speed;
}

}  // namespace

std::vector<double> without_clicks(std::span<const double> samples, double rate,
                                   const ChannelSurvey& channel) {
    std::vector<double> out = channel.clicks ? blank_clicks(without_still_lines(samples, rate, channel.lines), rate, *channel.clicks)
                                             : std::vector<double>(samples.begin(), samples.end());
    if (channel.other_clicks) out = blank_clicks(out, rate, *channel.other_clicks);
    return without_peaks(std::move(out), rate);
}

std::vector<double> cut_down(std::span<const double> samples, double rate) {
    return without_peaks(std::vector<double>(samples.begin(), samples.end()), rate);
}

std::vector<PassedLine> passed_lines(const TakeSurvey& survey, const ChannelSurvey& channel) {
    std::vector<PassedLine> passed;
    for (const SpectralLine& line : channel.lines)
        if (line.sharpness_db > 10.0 && line.prominence_db > 15.0)
            passed.push_back({line.frequency_hz, decibels_from_power(line.mean_square / line.floor_density)});
    if (!channel.phone) return passed;
    constexpr std::size_t frames_have = 3;   // teeth: fewer may be chance
    if (channel.phone->comb.teeth.size() < frames_have) return passed;
    const double share = (channel.phone->to_s - channel.phone->from_s) / std::max(survey.duration_s, 1e-3);
    for (const CombTooth& tooth : channel.phone->comb.teeth) {
        const double density = channel.still.noise[channel.still.bin_of(tooth.frequency_hz)];
        if (density > 0.0 && share > 0.0 && tooth.total() > 0.0)
            passed.push_back({tooth.frequency_hz, decibels_from_power(tooth.total() / share / density)});
    }
    return passed;
}

std::vector<std::size_t> loudest_first(const TakeSurvey& survey) {
    std::vector<std::size_t> order;
    for (std::size_t c = 0; c < survey.channels.size(); ++c)
        if (!survey.channels[c].silent && carries_signal(survey.channels[c].channel)) order.push_back(c);
    std::stable_sort(order.begin(), order.end(), [&survey](std::size_t a, std::size_t b) {
        return survey.channels[a].spectrum.band_mean_square(300.0, 6000.0) >
               survey.channels[b].spectrum.band_mean_square(300.0, 6000.0);
    });
    return order;
}

std::vector<FollowedRidge> find_wandering_lines(const TakeSurvey& survey, const std::vector<std::span<const double>>& stretches,
                                                const std::vector<ThinnedSound>& sounds) {
    std::vector<FollowedRidge> found;
    std::optional<Track> speed = logged_speed(survey);
    double most_lag_s = kMostLogLag_s;
    for (const std::size_t c : loudest_first(survey)) {
        RidgeSearch search;
        search.least_log_evidence = kLeastEvidence;
        for (const Beat& beat : survey.beats) search.known.push_back(beat.ridge);
        for (const FollowedRidge& one : found) search.known.push_back(one.ridge);  // in a louder channel
        search.still = passed_lines(survey, survey.channels[c]);
        const std::vector<double> cleared = without_clicks(stretches[c], survey.sample_rate_hz, survey.channels[c]);
        for (Ridge& ridge : find_ridges(cleared, survey.sample_rate_hz, search)) {
            search.known.push_back(ridge);
            found.push_back({std::move(ridge), c, kFollowedWindow_s, 0.0});
        }
        if (!speed) continue;
        // what follows the log and is too faint, or moves too fast, to be found without it
        GuidedRidges guided = find_ridges_along(cleared, survey.sample_rate_hz, *speed, search, most_lag_s);
        if (!guided.ridges.empty()) {  // the other channels have the same clock
            for (double& t : speed->time_s) t -= guided.lag_s;
            most_lag_s = 0.0;
        }
        for (Ridge& ridge : guided.ridges) found.push_back({std::move(ridge), c, kLoggedWindow_s, 0.0});
    }
    for (FollowedRidge& one : found) one.significance = significance_of(one.ridge.track, sounds[one.channel], one.window_s);
    std::stable_sort(found.begin(), found.end(), [](const FollowedRidge& a, const FollowedRidge& b) {
        return a.significance > b.significance;
    });
    return found;
}

}  // namespace hushtrace
