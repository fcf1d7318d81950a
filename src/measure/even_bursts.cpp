#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "hushtrace/measure/bursts.hpp"
#include "hushtrace/measure/log_gamma.hpp"

namespace hushtrace {
namespace {

constexpr double kAlike = 0.04, kAlike_s = 0.003;   // how far one spacing may differ from another: a share, and the reading's own
constexpr double kSurelyEven = 7.0;                 // surprise: 1 in 1000 by chance
constexpr double kSlowest_hz = 0.5, kFastest_hz = 60.0;   // clicks a second
constexpr double kDrift = 0.02;                     // of the rate, over all events
constexpr double kOffBeat = 0.03, kReading_s = 0.0025;    // how far from the beat: a share of the turn, and the reading's own
constexpr double kLeastFilled = 0.2;
constexpr std::size_t kLeastEvents = 4, kMostEvents = 100;
constexpr double kLongest_s = 15.0, kFollowedTurns = 8.0;

/// -ln of the probability that of n trials k and more hit: the first term of the binomial tail.
double surprise_of(double k, double n, double p) {
    if (k <= n * p) return 0.0;
    const double ways = log_choose(n, k);
    return -ways - k * std::log(p) - (n - k) * std::log1p(-p);
}

/// Turns of a rate that drifts evenly, counted from the middle of all events.
struct Turns {
    double rate_hz = 0, bend = 0, middle_s = 0;   // bend: turns per second squared
    double at(double time_s) const {
        const double t = time_s - middle_s;
        return rate_hz * t + bend * t * t;
    }
    /// When a turn is reached: the bend is small.
    double time_of(double turn) const {
        double t = turn / rate_hz;
        for (int step = 0; step < 3; ++step) t = (turn - bend * t * t) / rate_hz;
        return middle_s + t;
    }
};

struct OnBeat {
    std::vector<bool> events;
    std::vector<double> turn, time_s;   // of those on the beat
    std::size_t count = 0;
    double beat = 0;                    // where in the turn
    std::set<long> held;                // turns
};
OnBeat on_beat(const std::vector<Burst>& events, const Turns& turns, double reach) {
    double re = 0, im = 0;
    for (const Burst& one : events) {
        const double angle = 2.0 * std::numbers::pi * turns.at(one.time_s);
        re += std::cos(angle);
        im += std::sin(angle);
    }
    const double beat = std::atan2(im, re) / (2.0 * std::numbers::pi);
    OnBeat out;
    std::set<long> held;
    for (const Burst& one : events) {
        const double turn = turns.at(one.time_s) - beat;
        const bool on = std::abs(std::remainder(turn, 1.0)) < reach;
        out.events.push_back(on);
        if (!on) continue;
        ++out.count;
        held.insert(std::lround(turn));
        out.turn.push_back(std::round(turn));
        out.time_s.push_back(one.time_s);
    }
    out.beat = beat;
    out.held = std::move(held);
    return out;
}

bool lies_in(const std::vector<SoundSpan>& spans, double time_s) {
    constexpr double reach_s = 0.003;
    auto after = std::lower_bound(spans.begin(), spans.end(), time_s + reach_s, [](const SoundSpan& span, double t) { return span.from_s < t; });
    for (int back = 0; back < 3 && after != spans.begin(); ++back)  // spans of several trains may overlap
        if ((--after)->to_s > time_s - reach_s) return true;
    return false;
}

/// Share of the turns from the first to the last that hold an event, of those that were watched.
double share_filled(const OnBeat& on, const Turns& turns, const std::vector<SoundSpan>& left_out) {
    if (on.held.size() < 2) return 0.0;
    double watched = 0;
    for (long k = *on.held.begin(); k <= *on.held.rbegin(); ++k)
        if (on.held.contains(k) || !lies_in(left_out, turns.time_of(static_cast<double>(k) + on.beat))) watched += 1.0;
    return static_cast<double>(on.held.size()) / watched;
}

/// Rate and its standard deviation, by the line of least squares through times over turns.
std::pair<double, double> rate_of(const OnBeat& on) {
    const double n = static_cast<double>(on.count);
    double mean_turn = 0, mean_s = 0, turns = 0, both = 0, times = 0;
    for (std::size_t i = 0; i < on.count; ++i) {
        mean_turn += on.turn[i] / n;
        mean_s += on.time_s[i] / n;
    }
    for (std::size_t i = 0; i < on.count; ++i) {
        const double t = on.time_s[i] - mean_s, k = on.turn[i] - mean_turn;
        turns += k * k;
        both += k * t;
        times += t * t;
    }
    const double period_s = both / turns;
    const double left = std::max(0.0, times - period_s * both) / std::max(1.0, n - 2.0);
    return {1.0 / period_s, std::sqrt(left / turns) / (period_s * period_s)};
}

struct Beat {
    Turns turns;
    OnBeat on;
};
/// Of rates that are multiples of each other the slowest that holds them: where nearly all turns that hold an event are
/// every second, third ... one, and not by chance (1 in 100), the others' events are odd ones.
Beat slowest(Beat beat, const std::vector<Burst>& events) {
    constexpr double nearly_all = 0.75, surely = 4.6;
    for (const long of : {2L, 2L, 2L, 3L, 3L, 5L, 7L}) {
        if (beat.turns.rate_hz / static_cast<double>(of) < kSlowest_hz) continue;
        std::vector<double> count(static_cast<std::size_t>(of), 0.0);
        const auto hand = [of](double turn) { return static_cast<std::size_t>(((std::lround(turn) % of) + of) % of); };
        for (const double turn : beat.on.turn) count[hand(turn)] += 1.0;
        const auto most = static_cast<std::size_t>(std::max_element(count.begin(), count.end()) - count.begin());
        const double all = static_cast<double>(beat.on.count), held = count[most];
        if (held < nearly_all * all || surprise_of(held - 1.0, all - 1.0, 1.0 / static_cast<double>(of)) < surely) continue;
        OnBeat kept;
        kept.events.assign(events.size(), false);
        // the turns' count goes on from the beat that was kept
        kept.beat = (beat.on.beat + static_cast<double>(most)) / static_cast<double>(of);
        std::size_t j = 0;
        for (std::size_t i = 0; i < events.size(); ++i) {
            if (!beat.on.events[i]) continue;
            const double turn = beat.on.turn[j++];
            if (hand(turn) != most) continue;
            kept.events[i] = true;
            const double slower = std::round((turn - static_cast<double>(most)) / static_cast<double>(of));
            kept.turn.push_back(slower);
            kept.time_s.push_back(events[i].time_s);
            kept.held.insert(std::lround(slower));
        }
        kept.count = kept.turn.size();
        beat.turns.rate_hz /= static_cast<double>(of);
        beat.turns.bend /= static_cast<double>(of);
        beat.on = std::move(kept);
    }
    return beat;
}

/// Events that keep to the turns of one rate, which drifts evenly if at all.
std::optional<EvenBursts> by_phase(const std::vector<Burst>& events, const std::vector<SoundSpan>& left_out) {
    const double n = static_cast<double>(events.size()), span_s = events.back().time_s - events.front().time_s;
    if (!(span_s > 0.0)) return std::nullopt;
    const double step_hz = 0.15 / span_s;
    const auto surely = static_cast<std::size_t>(std::max(static_cast<double>(kLeastEvents), 0.4 * n));
    Beat best;
    double most = 0, tries = 0;
    double out_s = 0;
    for (const SoundSpan& span : left_out) out_s += span.to_s - span.from_s + 0.006;
    // no faster than would be filled so far by all of them
    const double fastest_hz = std::min(kFastest_hz, n / kLeastFilled / std::max(0.2 * span_s, span_s - out_s));
    for (double rate = kSlowest_hz; rate < fastest_hz; rate += step_hz) {
        const double reach = kOffBeat + kReading_s * rate;
        const double ends = 0.25 * kDrift * rate * span_s;   // turns by which a drift moves the first and the last
        const auto bends = static_cast<long>(std::floor(ends / 0.1));
        for (long b = -bends; b <= bends; ++b) {
            tries += 1.0;
            const Turns turns{rate, 0.1 * static_cast<double>(b) / (0.25 * span_s * span_s), events.front().time_s + 0.5 * span_s};
            OnBeat on = on_beat(events, turns, reach);
            if (on.count < surely) continue;
            // two of them are spent on rate and phase
            const double surprise = surprise_of(static_cast<double>(on.count) - 2.0, n - 2.0, std::min(0.9, 2.0 * reach));
            if (surprise <= most) continue;
            const double filled = share_filled(on, turns, left_out);
            if (filled < kLeastFilled) continue;
            most = surprise;
            best = {turns, std::move(on)};
        }
    }
    if (most < std::log(std::max(tries, 1.0)) + kSurelyEven) return std::nullopt;
    best = slowest(std::move(best), events);
    const auto [rate_hz, sd_hz] = rate_of(best.on);
    return EvenBursts{rate_hz, sd_hz, std::move(best.on.events), share_filled(best.on, best.turns, left_out)};
}

/// -ln of the probability that of so many times between events so many lie as near one of them, where events come at odd
/// times (a Poisson process), times the spacings that were tried.
double surprise_of_alike(std::size_t alike, std::size_t of, double spacing_s, const std::vector<Burst>& events) {
    const double mean_s = (events.back().time_s - events.front().time_s) / static_cast<double>(of);
    const double width_s = 2.0 * (kAlike * spacing_s + kAlike_s);
    const double p = std::min(0.5, width_s / mean_s * std::exp(-spacing_s / mean_s));
    return surprise_of(static_cast<double>(alike - 1), static_cast<double>(of - 1), p) - std::log(static_cast<double>(of));
}

/// Events most of which follow each other by one spacing, though no clock keeps their turns.
std::optional<EvenBursts> by_spacing(const std::vector<Burst>& events) {
    std::vector<double> between;
    for (std::size_t i = 1; i < events.size(); ++i) between.push_back(events[i].time_s - events[i - 1].time_s);
    double best = 0;
    std::size_t most = 0;
    for (const double one : between) {
        const auto like = static_cast<std::size_t>(std::count_if(between.begin(), between.end(), [one](double other) {
            return std::abs(other - one) < kAlike * one + kAlike_s;
        }));
        if (like <= most) continue;
        most = like;
        best = one;
    }
    if (2 * most < between.size() || most < 3 || surprise_of_alike(most, between.size(), best, events) < kSurelyEven) return std::nullopt;
    EvenBursts out;
    out.on_beat.assign(events.size(), false);
    double sum = 0, squares = 0, n = 0, missed = 0;
    for (std::size_t i = 0; i < between.size(); ++i) {
        const double turns = std::max(1.0, std::round(between[i] / best));
        if (std::abs(between[i] - turns * best) > turns * kAlike * best + kAlike_s) continue;
        out.on_beat[i] = out.on_beat[i + 1] = true;
        missed += turns - 1.0;
        sum += between[i] / turns;
        squares += between[i] / turns * between[i] / turns;
        n += 1.0;
    }
    const double mean_s = sum / n;
    out.rate_hz = 1.0 / mean_s;
    out.rate_sd_hz = std::sqrt(std::max(0.0, squares / n - mean_s * mean_s) / n) / (mean_s * mean_s);
    out.filled = n / (n + missed);
    return out;
}

/// A stretch of bounded length and number, so that the search takes bounded time: that which holds most events.
std::pair<std::size_t, std::size_t> densest(const std::vector<Burst>& events) {
    std::size_t first = 0, end = 0;
    for (std::size_t i = 0, j = 0; i < events.size(); ++i) {
        while (j < events.size() && j - i < kMostEvents && events[j].time_s - events[i].time_s < kLongest_s) ++j;
        if (j - i <= end - first) continue;
        first = i;
        end = j;
    }
    return {first, end};
}

/// Follows the beat on both sides of the stretch in which it was found, from event to event.
void keep_on(EvenBursts& even, const std::vector<Burst>& events, std::size_t first, std::size_t end) {
    const auto follows = [&](double gap_s) {
        const double turns = gap_s * even.rate_hz;
        return turns > 0.5 && turns < kFollowedTurns && std::abs(std::remainder(turns, 1.0)) < 2.0 * (kOffBeat + kReading_s * even.rate_hz);
    };
    std::size_t last = end - 1;
    while (last > first && !even.on_beat[last]) --last;
    for (std::size_t i = end; i < events.size(); ++i)
        if (follows(events[i].time_s - events[last].time_s)) even.on_beat[last = i] = true;
    last = first;
    while (last + 1 < end && !even.on_beat[last]) ++last;
    for (std::size_t i = first; i-- > 0;)
        if (follows(events[last].time_s - events[i].time_s)) even.on_beat[last = i] = true;
}

}  // namespace

std::optional<EvenBursts> even_bursts(const std::vector<Burst>& events, const std::vector<SoundSpan>& left_out) {
    if (events.size() < kLeastEvents) return std::nullopt;
    const auto [first, end] = densest(events);
    const auto at = [&events](std::size_t i) { return events.begin() + static_cast<std::ptrdiff_t>(i); };
    const std::vector<Burst> some(at(first), at(end));
    auto even = by_phase(some, left_out);
    if (!even) return by_spacing(events);
    std::vector<bool> on(events.size(), false);
    std::copy(even->on_beat.begin(), even->on_beat.end(), on.begin() + static_cast<std::ptrdiff_t>(first));
    even->on_beat = std::move(on);
    keep_on(*even, events, first, end);
    return even;
}

}  // namespace hushtrace
