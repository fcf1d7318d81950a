#include "hushtrace/measure/burst_extraction.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double kStep_s = 0.00025, kFade_s = 0.0003, kAbove_hz = 2000.0;
constexpr double kTail_s = 0.0015;  // a click's lower part rings on after what lies above 2 kHz is gone

/// Mean power above 2 kHz in steps of a quarter of a millisecond (second-order high-pass as two first-order ones).
struct Envelope {
    double step_s = kStep_s;
    std::vector<double> power;
    std::vector<double> usual;  ///< median of the second round it
};

Envelope envelope_of(std::span<const double> samples, double rate) {
    Envelope out;
    const auto stretch = static_cast<std::size_t>(std::max(1.0, std::round(kStep_s * rate)));
    out.step_s = static_cast<double>(stretch) / rate;
    const double keep = std::exp(-2.0 * std::numbers::pi * std::min(kAbove_hz, 0.2 * rate) / rate);
    double before_1 = 0, result_1 = 0, before_2 = 0, result_2 = 0, sum = 0;
    for (std::size_t n = 0; n < samples.size(); ++n) {
        result_1 = keep * (result_1 + samples[n] - before_1);
        before_1 = samples[n];
        result_2 = keep * (result_2 + result_1 - before_2);
        before_2 = result_1;
        sum += result_2 * result_2;
        if (n % stretch == stretch - 1) {
            out.power.push_back(sum / static_cast<double>(stretch));
            sum = 0;
        }
    }
    const auto second = static_cast<std::size_t>(std::max(1.0, std::round(1.0 / out.step_s)));
    std::vector<double> near_by;
    for (std::size_t from = 0; from < out.power.size(); from += second) {
        const std::size_t to = std::min(from + second, out.power.size());
        const std::size_t first = to - std::min(second, to);  // the last one reaches back
        near_by.assign(out.power.begin() + static_cast<std::ptrdiff_t>(first),
                       out.power.begin() + static_cast<std::ptrdiff_t>(to));
        const auto middle = near_by.begin() + static_cast<std::ptrdiff_t>(near_by.size() / 2);
        std::nth_element(near_by.begin(), middle, near_by.end());
        out.usual.insert(out.usual.end(), to - from, *middle);
    }
    return out;
}

/// Steps [from, to) about a peak in which the power stays above a limit, dips of up to 0.5 ms bridged.
SoundSpan grown(const Envelope& envelope, std::size_t peak, double limit, std::size_t first, std::size_t end) {
    constexpr std::size_t kBridge = 2;
    std::size_t from = peak, to = peak + 1;
    for (std::size_t i = peak, dip = 0; i-- > first && dip <= kBridge;) {
        dip = envelope.power[i] > limit ? 0 : dip + 1;
        if (dip == 0) from = i;
    }
    for (std::size_t i = peak + 1, dip = 0; i < end && dip <= kBridge; ++i) {
        dip = envelope.power[i] > limit ? 0 : dip + 1;
        if (dip == 0) to = i + 1;
    }
    return {static_cast<double>(from) * envelope.step_s, static_cast<double>(to) * envelope.step_s + kTail_s};
}

/// First and last loud phase of a profile [turns], the last beyond 1 where they run over the turn's end.
std::pair<double, double> loud_phases(const std::vector<double>& profile) {
    const std::size_t count = profile.size();
    std::vector<double> sorted = profile;
    std::sort(sorted.begin(), sorted.end());
    const double limit = std::max(2.0 * sorted[count / 3], sorted[count / 2]);
    const auto peak = static_cast<std::size_t>(std::max_element(profile.begin(), profile.end()) - profile.begin());
    std::size_t before = 0, after = 1;
    while (before < count / 4 && profile[(peak + count - before - 1) % count] > limit) ++before;
    while (after < count / 4 && profile[(peak + after) % count] > limit) ++after;
    const auto phase = [count](double i) { return i / static_cast<double>(count); };
    return {phase(static_cast<double>(peak) - static_cast<double>(before)), phase(static_cast<double>(peak + after))};
}

}  // namespace

std::vector<SoundSpan> clicks_of_train(std::span<const double> samples, double sample_rate_hz, const ImpulseTrain& train) {
    if (train.profile.empty() || train.rate.empty()) return {};
    const Envelope envelope = envelope_of(samples, sample_rate_hz);
    const auto [first_phase, last_phase] = loud_phases(train.profile);
    std::vector<SoundSpan> clicks, by_phase;
    // the turns' beginnings, in steps: a turn is cut so that its loud phases lie whole inside it
    double turn = -first_phase + 1.0 / static_cast<double>(train.profile.size());  // a phase's room for jitter
    turn -= std::floor(turn);
    const double width = last_phase - first_phase + 2.0 / static_cast<double>(train.profile.size());
    std::size_t from = 0;
    bool inside = turn < width;
    const auto close = [&](std::size_t to) {
        const auto begin = envelope.power.begin();
        const auto top = std::max_element(begin + static_cast<std::ptrdiff_t>(from), begin + static_cast<std::ptrdiff_t>(to));
        const auto peak = static_cast<std::size_t>(top - begin);
        by_phase.push_back({static_cast<double>(from) * envelope.step_s, static_cast<double>(to) * envelope.step_s});
        const double limit = 4.0 * envelope.usual[peak];
        const std::size_t room = to - from;
        if (*top > limit && *top > 0.0)
            clicks.push_back(grown(envelope, peak, limit, from - std::min(from, room),
                                   std::min(envelope.power.size(), to + room)));
    };
    for (std::size_t i = 0; i < envelope.power.size(); ++i) {
        const bool now = turn < width;
        if (now && !inside) from = i;
        if (!now && inside && i > from) close(i);
        inside = now;
        turn += train.rate.at(static_cast<double>(i) * envelope.step_s) * envelope.step_s;
        turn -= std::floor(turn);
    }
    if (inside && from < envelope.power.size()) close(envelope.power.size());
    return 2 * clicks.size() >= by_phase.size() ? clicks : by_phase;
}

std::vector<SoundSpan> bursts_in(std::span<const double> samples, double sample_rate_hz, double times) {
    const Envelope envelope = envelope_of(samples, sample_rate_hz);
    std::vector<SoundSpan> bursts;
    for (std::size_t i = 0; i < envelope.power.size(); ++i) {
        const double limit = times * envelope.usual[i];
        if (!(envelope.power[i] > limit) || !(envelope.power[i] > 0.0)) continue;
        const SoundSpan burst = grown(envelope, i, limit / 3.0, 0, envelope.power.size());
        if (!bursts.empty() && burst.from_s < bursts.back().to_s + 0.010)
            bursts.back().to_s = std::max(bursts.back().to_s, burst.to_s);
        else
            bursts.push_back(burst);
        while (i + 1 < envelope.power.size() && static_cast<double>(i + 1) * envelope.step_s < burst.to_s - kTail_s) ++i;
    }
    return bursts;
}

void take_out_bursts(std::span<double> left, std::span<double> alone, double sample_rate_hz,
                     std::span<const SoundSpan> bursts) {
    if (left.size() != alone.size())
        throw Error(ErrorKind::invalid_request, "bursts are moved between two sounds of unequal length");
    const double fade = std::max(1.0, kFade_s * sample_rate_hz);
    std::vector<float> share(left.size(), 0.0F);  // of two bursts that touch the larger share counts, not their sum
    for (const SoundSpan& burst : bursts) {
        const double from = burst.from_s * sample_rate_hz, to = burst.to_s * sample_rate_hz;
        const auto first = static_cast<std::size_t>(std::max(0.0, std::ceil(from - fade)));
        const auto end = static_cast<std::size_t>(std::max(0.0, std::ceil(to + fade)));
        for (std::size_t n = first; n < std::min(end, left.size()); ++n) {
            const double place = static_cast<double>(n);
            const double away = std::max({0.0, from - place, place - to}) / fade;
            const double here = away < 1.0 ? 0.5 + 0.5 * std::cos(std::numbers::pi * away) : 0.0;
            share[n] = std::max(share[n], static_cast<float>(here));
        }
    }
    for (std::size_t n = 0; n < left.size(); ++n) {
        const double moved = static_cast<double>(share[n]) * left[n];
        alone[n] += moved;
        left[n] -= moved;
    }
}

}  // namespace hushtrace
