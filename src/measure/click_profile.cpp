#include "click_profile.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace hushtrace {
namespace {

constexpr std::size_t kLeastPhases = 24, kMostPhases = 160;
constexpr double kLeastShare = 0.25, kSurely = 4.0;   // of a hand of turns: against the strongest one, in standard deviations
constexpr std::size_t kLeastTurns = 4;                // of each hand
constexpr double kClockWander = 0.03, kClock_s = 0.0005, kClockTurns = 0.004, kLeastClicks = 16;
constexpr double kPhase_s = 0.0012;  // a click and its tail take a few of these

std::size_t phases_of(const Track& track) {
    const double turn_s = 1.0 / std::max(track.mean_hz(), 1e-3);
    return std::clamp(static_cast<std::size_t>(turn_s / kPhase_s), kLeastPhases, kMostPhases);
}

double quantile(std::vector<double> values, double share) {
    const auto place = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), place, values.end());
    return *place;
}

/// By how much the click's eighth of each turn stands over the five that don't touch it, by their greatest log power:
/// over their median [turns], in standard deviations of what those five differ by.
std::vector<double> excess_of_turns(std::span<const double> power, double rate_hz, const Track& track, double click_phase) {
    std::vector<double> excess, spread;
    std::array<double, 8> most{};
    most.fill(-1e9);
    double turn = 0.5 + 1.0 / 16.0 - click_phase;  // the clicks lie in the middle of the turn, in eighth 4
    turn -= std::floor(turn);
    bool whole = false;  // the first turn began before the sound did
    for (std::size_t i = 0; i < power.size(); ++i) {
        auto& here = most[std::min<std::size_t>(7, static_cast<std::size_t>(turn * 8.0))];
        here = std::max(here, std::log(std::max(power[i], 1e-30)));
        turn += track.at(static_cast<double>(i) / rate_hz) / rate_hz;
        if (turn < 1.0) continue;
        turn -= std::floor(turn);
        if (whole && *std::min_element(most.begin(), most.end()) > -1e8) {
            std::array<double, 5> beside = {most[0], most[1], most[2], most[6], most[7]};
            std::sort(beside.begin(), beside.end());
            excess.push_back(most[4] - beside[2]);
            spread.push_back(beside[2] - beside[0]);
        }
        most.fill(-1e9);
        whole = true;
    }
    if (excess.empty()) return excess;
    // the least of five normal variables lies 1.16 standard deviations below their median; the median itself strays by 0.54
    const double sd = std::max(quantile(spread, 0.5) / 1.16 * std::hypot(1.0, 0.54), 1e-3);
    for (double& one : excess) one = std::clamp(one / sd, -2.0, 8.0);
    return excess;
}

struct Hand {
    int of = 1;              ///< hands
    std::size_t first = 0;   ///< turn
};
/// The first way to deal the turns out by which one hand holds all.
Hand only_hand(const std::vector<double>& excess, double rate_hz) {
    constexpr double slowest_hz = 0.8;
    for (const int of : {2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59}) {
        const auto hands = static_cast<std::size_t>(of);
        if (excess.size() < kLeastTurns * hands || rate_hz / of < slowest_hz) break;
        std::vector<double> sum(hands, 0.0), count(hands, 0.0);
        double all = 0;
        for (std::size_t j = 0; j < excess.size(); ++j) {
            sum[j % hands] += excess[j];
            count[j % hands] += 1.0;
            all += excess[j];
        }
        std::size_t best = 0;
        for (std::size_t h = 1; h < hands; ++h)
            if (sum[h] / count[h] > sum[best] / count[best]) best = h;
        const double mean = sum[best] / count[best], rest = static_cast<double>(excess.size()) - count[best];
        const double others = (all - sum[best]) / rest + 2.0 / std::sqrt(rest);
        if (mean * std::sqrt(count[best]) > kSurely && others < kLeastShare * mean) return {of, best};
    }
    return {};
}

/// Where in its turn a train clicks.
double click_phase_of(const std::vector<double>& profile) {
    const auto top = std::max_element(profile.begin(), profile.end()) - profile.begin();
    return (static_cast<double>(top) + 0.5) / static_cast<double>(profile.size());
}

/// Whether each of so many hands holds clicks, the weakest a quarter of what the strongest does and more.
bool all_hold(const std::vector<double>& excess, std::size_t hands) {
    if (excess.size() < kLeastTurns * hands) return false;
    std::vector<double> sum(hands, 0.0), count(hands, 0.0);
    for (std::size_t j = 0; j < excess.size(); ++j) {
        sum[j % hands] += excess[j];
        count[j % hands] += 1.0;
    }
    double least = 1e9, most = 0;
    for (std::size_t h = 0; h < hands; ++h) {
        if (sum[h] / std::sqrt(count[h]) < kSurely) return false;
        least = std::min(least, sum[h] / count[h]);
        most = std::max(most, sum[h] / count[h]);
    }
    return least > kLeastShare * most;
}

}  // namespace

ClickProfile click_profile(std::span<const double> power, double rate, const Track& track) {
    const std::size_t phases = phases_of(track);
    ClickProfile profile;
    std::vector<double> sum(phases), squares(phases), count(phases);
    double turn = 0;
    for (std::size_t i = 0; i < power.size(); ++i) {
        const auto p = std::min(phases - 1, static_cast<std::size_t>(turn * static_cast<double>(phases)));
        sum[p] += power[i];
        squares[p] += power[i] * power[i];
        count[p] += 1;
        turn = std::fmod(turn + track.at(static_cast<double>(i) / rate) / rate, 1.0);
    }
    double variance = 0;
    for (std::size_t p = 0; p < phases; ++p) {
        if (count[p] < 2) return {};
        const double mean = sum[p] / count[p];
        profile.power.push_back(mean);
        variance += (squares[p] / count[p] - mean * mean) / count[p] / static_cast<double>(phases);
    }
    profile.sd = std::sqrt(std::max(variance, 0.0));
    return profile;
}

Track phase_locked(std::span<const double> envelope, double rate, const Track& track) {
    double turn = 0, last = 0;
    std::vector<double> when, angle;
    double re = 0, im = 0, stretch_s = 0;
    for (std::size_t i = 0; i < envelope.size(); ++i) {
        const double t = static_cast<double>(i) / rate;
        const double f = track.at(t);
        re += envelope[i] * std::cos(2.0 * std::numbers::pi * turn);
        im -= envelope[i] * std::sin(2.0 * std::numbers::pi * turn);
        turn = std::fmod(turn + f / rate, 1.0);
        stretch_s += 1.0 / rate;
        if (stretch_s >= 0.35) {
            double now = std::atan2(im, re);
            if (!angle.empty()) now = last + std::remainder(now - last, 2.0 * std::numbers::pi);
            angle.push_back(now);
            when.push_back(t - 0.5 * stretch_s);
            last = now;
            re = im = stretch_s = 0;
        }
    }
    if (when.size() < 3) return track;
    Track out;
    std::size_t place = 0;
    const double end_s = static_cast<double>(envelope.size()) / rate;
    for (double t = 0; t < end_s; t += 0.05) {
        while (place + 2 < when.size() && when[place + 1] < t) ++place;
        const double slope =
            (angle[place + 1] - angle[place]) / (when[place + 1] - when[place]) / (2.0 * std::numbers::pi);
        const double f = track.at(t);
        out.time_s.push_back(t);
        out.frequency_hz.push_back(f + std::clamp(slope, -0.03 * f, 0.03 * f));
    }
    return out;
}

int turns_a_click(std::span<const double> power, double rate_hz, const Track& track, const std::vector<double>& profile) {
    if (profile.empty() || track.empty()) return 1;
    std::vector<double> excess = excess_of_turns(power, rate_hz, track, click_phase_of(profile));
    if (excess.size() < 8) return 1;
    int turns = 1;
    double rate = track.mean_hz();
    while (true) {
        const Hand hand = only_hand(excess, rate);
        if (hand.of == 1) return turns;
        std::vector<double> held;
        for (std::size_t j = hand.first; j < excess.size(); j += static_cast<std::size_t>(hand.of)) held.push_back(excess[j]);
        excess = std::move(held);
        turns *= hand.of;
        rate /= hand.of;
    }
}

int clicks_a_turn(std::span<const double> power, double rate_hz, const Track& track, const std::vector<double>& profile, double most_hz) {
    if (profile.empty() || track.empty()) return 1;
    for (const int clicks : {12, 10, 8, 6, 5, 4, 3, 2}) {
        if (clicks * track.mean_hz() > most_hz) continue;
        Track faster = track;
        for (double& f : faster.frequency_hz) f *= clicks;
        const double phase = std::fmod(clicks * click_phase_of(profile), 1.0);
        if (all_hold(excess_of_turns(power, rate_hz, faster, phase), static_cast<std::size_t>(clicks))) return clicks;
    }
    return 1;
}

Track steadied(std::span<const double> power, double rate_hz, const Track& track, const std::vector<double>& profile) {
    if (profile.empty() || track.empty() || track.wander() > kClockWander) return track;
    std::vector<double> time_s, number;
    double turn = 0.5 - click_phase_of(profile), k = 0, top = 0, top_s = 0;   // the clicks lie in the middle of the turn
    turn -= std::floor(turn);
    for (std::size_t i = 0; i < power.size(); ++i) {
        const double t = static_cast<double>(i) / rate_hz;
        if (std::abs(turn - 0.5) < 0.125 && power[i] > top) {
            top = power[i];
            top_s = t;
        }
        turn += track.at(t) / rate_hz;
        if (turn < 1.0) continue;
        turn -= 1.0;
        if (top > 0.0) {
            time_s.push_back(top_s);
            number.push_back(k);
        }
        k += 1.0;
        top = 0;
    }
    std::vector<bool> kept(time_s.size(), true);
    double period_s = 0, spread_s = 0;
    for (int round = 0; round < 3; ++round) {   // turns without a click stray by more than those with one
        double n = 0, mean_s = 0, mean = 0, squares = 0, both = 0;
        for (std::size_t i = 0; i < kept.size(); ++i)
            if (kept[i]) {
                n += 1.0;
                mean_s += time_s[i];
                mean += number[i];
            }
        if (n < kLeastClicks) return track;
        mean_s /= n;
        mean /= n;
        for (std::size_t i = 0; i < kept.size(); ++i)
            if (kept[i]) {
                squares += (number[i] - mean) * (number[i] - mean);
                both += (number[i] - mean) * (time_s[i] - mean_s);
            }
        period_s = both / squares;
        std::vector<double> off;
        for (std::size_t i = 0; i < kept.size(); ++i) off.push_back(std::abs(time_s[i] - mean_s - period_s * (number[i] - mean)));
        spread_s = 1.4826 * quantile(off, 0.5);
        for (std::size_t i = 0; i < kept.size(); ++i) kept[i] = off[i] < std::max(3.0 * spread_s, 1.0 / rate_hz);
    }
    if (spread_s > kClock_s + kClockTurns * period_s) return track;
    Track clock = track;
    std::fill(clock.frequency_hz.begin(), clock.frequency_hz.end(), 1.0 / period_s);
    return clock;
}

std::vector<bool> loud_phases(const std::vector<double>& profile) {
    std::vector<bool> loud;
    if (profile.empty()) return loud;
    const double limit = std::max(2.0 * quantile(profile, 1.0 / 3.0), quantile(profile, 0.5));
    for (const double power : profile) loud.push_back(power > limit);
    return loud;
}

std::vector<SoundSpan> loud_spans(const ImpulseTrain& train, double duration_s) {
    std::vector<SoundSpan> out;
    std::vector<bool> loud = loud_phases(train.profile);
    const std::size_t phases = loud.size();
    if (phases == 0) return out;
    loud[static_cast<std::size_t>(std::max_element(train.profile.begin(), train.profile.end()) - train.profile.begin())] = true;
    constexpr double step_s = 1.0 / kClickPowerRate_hz;
    double turn = 0;
    bool before = false;
    for (double t = 0; t < duration_s; t += step_s) {
        const auto p = std::min(phases - 1, static_cast<std::size_t>(turn * static_cast<double>(phases)));
        const bool now = loud[p] || loud[(p + 1) % phases] || loud[(p + phases - 1) % phases];
        if (now && !before) out.push_back({t, t});
        if (now) out.back().to_s = t + step_s;
        before = now;
        turn = std::fmod(turn + train.rate.at(t) * step_s, 1.0);
    }
    return out;
}

std::vector<double> blank_clicks(std::span<const double> samples, double sample_rate_hz,
                                 const ImpulseTrain& train) {
    std::vector<double> out(samples.begin(), samples.end());
    if (train.profile.empty()) return out;
    const std::vector<bool> loud = loud_phases(train.profile);
    const std::size_t phases = loud.size();
    const auto stretch =
        static_cast<std::size_t>(std::max(1.0, std::round(sample_rate_hz / kClickPowerRate_hz)));
    const double rate = sample_rate_hz / static_cast<double>(stretch);
    const double fade = std::exp(-1.0 / (0.0004 * sample_rate_hz));
    double turn = 0, gain = 1.0;
    for (std::size_t n = 0; n < out.size(); ++n) {
        const auto p = std::min(phases - 1, static_cast<std::size_t>(turn * static_cast<double>(phases)));
        gain = fade * gain + (1.0 - fade) * (loud[p] || loud[(p + 1) % phases] ? 0.0 : 1.0);
        out[n] *= gain;
        const std::size_t whole_stretches = n / stretch;
        if (n % stretch == stretch - 1)
            turn = std::fmod(turn + train.rate.at(static_cast<double>(whole_stretches) / rate) / rate, 1.0);
    }
    return out;
}

}  // namespace hushtrace
