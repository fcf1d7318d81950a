#include "crackle.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "confidence.hpp"
#include "hushtrace/measure/log_gamma.hpp"
#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kLeastPlaces = 3, kMostTold = 12;
constexpr double kNearMark_s = 1.0, kDenser_per_s = 25.0;
constexpr double kGathered = 4.6;     // -ln 0.01
constexpr double kSureTurns = 25.0;   // for so many a rate that is read to 0.3 % keeps its beat
// The clicks of a train that is too weak to be found reach over the noise here and there. What is told as crackle lies
// clear of that: twice what one frame of a take would reach by chance.
constexpr double kClear = 24.0;
constexpr double kSameBurst_s = 0.006;

std::string told_times(const std::vector<Burst>& events) {
    std::string out;
    for (std::size_t i = 0; i < std::min(events.size(), kMostTold); ++i)
        out += fmt::format("{}{:.2f}", i == 0 ? "" : ", ", events[i].time_s);
    return out + (events.size() > kMostTold ? fmt::format(" and {} more", events.size() - kMostTold) : "") + " s";
}

/// Turns of a rate at the events' times.
std::vector<double> turns_at(const std::vector<Burst>& events, const Track& rate) {
    std::vector<double> turns;
    double turn = 0, at_s = 0;
    for (const Burst& one : events) {
        for (; at_s < one.time_s; at_s += 0.001) turn += 0.001 * rate.at(at_s);
        turns.push_back(turn);
    }
    return turns;
}

/// What strays from a train's clicks keeps near its beat: where phases gather there more than by chance (Rayleigh, 1 in
/// 100), only what lies off the beat is left.
std::vector<Burst> off_the_beat(std::vector<Burst> events, const Track& rate) {
    const std::vector<double> turns = turns_at(events, rate);
    double re = 0, im = 0;
    for (const double turn : turns) {
        re += std::cos(2.0 * std::numbers::pi * turn);
        im += std::sin(2.0 * std::numbers::pi * turn);
    }
    if ((re * re + im * im) / std::max(1.0, static_cast<double>(turns.size())) < kGathered) return events;
    const double beat = std::atan2(im, re) / (2.0 * std::numbers::pi);
    std::vector<Burst> off;
    for (std::size_t i = 0; i < events.size(); ++i)
        if (std::abs(std::remainder(turns[i] - beat, 1.0)) > 0.2) off.push_back(events[i]);
    return off;
}

/// Where a track loses a train's beat, its clicks still follow each other by whole turns: where more gaps do than by
/// chance (1 in 100), their events are the train's.
std::vector<Burst> off_the_rate(std::vector<Burst> events, const Track& rate) {
    constexpr double near = 0.1;
    const std::vector<double> turns = turns_at(events, rate);
    std::vector<bool> keeps(events.size(), false);
    double gaps = 0, whole = 0;
    for (std::size_t i = 0; i + 1 < events.size(); ++i) {
        const double gap = turns[i + 1] - turns[i];
        if (gap > kSureTurns) continue;
        gaps += 1.0;
        if (gap < 0.5 || std::abs(std::remainder(gap, 1.0)) > near) continue;
        whole += 1.0;
        keeps[i] = keeps[i + 1] = true;
    }
    if (whole <= 2.0 * near * gaps) return events;
    const double ways = log_choose(gaps, whole);
    if (-ways - whole * std::log(2.0 * near) - (gaps - whole) * std::log1p(-2.0 * near) < kGathered) return events;
    std::vector<Burst> off;
    for (std::size_t i = 0; i < events.size(); ++i)
        if (!keeps[i]) off.push_back(events[i]);
    return off;
}

/// No more than a few clicks of the train in strength, and near its beat: the train's, too early or too late for its phase.
std::vector<Burst> unlike_clicks(std::vector<Burst> events, const ImpulseTrain& train) {
    constexpr double near = 0.12, few = 4.0;
    if (train.profile.empty()) return events;
    const auto top = std::max_element(train.profile.begin(), train.profile.end()) - train.profile.begin();
    const double beat = (static_cast<double>(top) + 0.5) / static_cast<double>(train.profile.size());
    const double one_click = train.mean_square / std::max(train.rate.mean_hz(), 1e-3);
    const std::vector<double> turns = turns_at(events, train.rate);
    std::vector<Burst> out;
    for (std::size_t i = 0; i < events.size(); ++i)
        if (events[i].energy > few * one_click || std::abs(std::remainder(turns[i] - beat, 1.0)) > near) out.push_back(events[i]);
    return out;
}

std::vector<Burst> without(std::vector<Burst> events, const Track& rate) {
    return off_the_rate(off_the_beat(std::move(events), rate), rate);
}

/// Of a take's many clicks a few are misread in time. What is no stronger than they are is crackle only where there is more
/// of it than that.
void leave_misread(std::vector<Burst>& events, const std::vector<ClicksInTake>& clicks, const Bursts& all) {
    constexpr double stronger = 2.0, misread = 0.02, spare = 2.0;
    double count = 0, energy = 0;
    for (const ClicksInTake& one : clicks) {
        count += one.rate_hz * all.duration_s;
        energy = std::max(energy, one.train.mean_square / std::max(one.rate_hz, 1e-3));
    }
    const auto weak = [&](const Burst& one) { return one.energy < stronger * energy; };
    if (static_cast<double>(std::count_if(events.begin(), events.end(), weak)) < misread * count + spare) std::erase_if(events, weak);
}

/// Different half seconds: one bump of a hand fills one.
std::size_t places_of(const std::vector<Burst>& events) {
    std::set<long> cells;
    for (const Burst& one : events) cells.insert(std::lround(one.time_s / 0.5));
    return cells.size();
}

void say_marks(NoiseSource& source, const TakeSurvey& survey, const std::vector<Burst>& events) {
    for (const Mark& mark : survey.take->marks) {
        double nearest = 1e9;
        for (const Burst& one : events)
            if (std::abs(one.time_s - mark.time_s) < std::abs(nearest)) nearest = one.time_s - mark.time_s;
        if (std::abs(nearest) > kNearMark_s) continue;
        source.evidence.push_back({fmt::format("One lies {:.2f} s {} the mark '{}' at {:.1f} s.", std::abs(nearest),
                                               nearest < 0.0 ? "before" : "after", mark.text, mark.time_s),
                                   nearest, "s", std::nullopt, {survey.take->file}, {}});
    }
}

/// Power that these bursts add in each channel, by the channel's own readings at those times.
std::vector<double> power_of(const std::vector<Burst>& events, const TakeSurvey& survey) {
    std::vector<double> power;
    for (const ChannelSurvey& channel : survey.channels) {
        double sum = 0;
        for (const Burst& own : channel.bursts.events)
            if (std::any_of(events.begin(), events.end(), [&own](const Burst& one) { return std::abs(one.time_s - own.time_s) < kSameBurst_s; }))
                sum += own.energy;
        power.push_back(sum / std::max(channel.bursts.duration_s, 1e-3));
    }
    return power;
}

/// Whether one rate is a whole multiple of the other.
bool kin(double one_hz, double other_hz) {
    const double ratio = std::max(one_hz, other_hz) / std::min(one_hz, other_hz);
    return std::abs(ratio / std::round(ratio) - 1.0) < 0.02;
}

NoiseSource& crackle_of(std::list<NoiseSource>& sources) {
    for (NoiseSource& source : sources)
        if (source.kind == NoiseKind::crackle) return source;
    NoiseSource& made = sources.emplace_back();
    made.kind = NoiseKind::crackle;
    return made;
}

void add_crackle(std::list<NoiseSource>& sources, const TakeSurvey& survey, const std::vector<Burst>& events,
                 const std::vector<double>& power) {
    NoiseSource& source = crackle_of(sources);
    add_levels(source, survey, power, 1.0);
    const double by_chance = survey.channels.front().bursts.expected_by_chance;
    const double n = static_cast<double>(events.size());
    // noise alone makes so many with a probability of about by_chance^n / n!
    const double surprise = log_gamma(n + 1.0) - n * std::log(by_chance);
    rest_on(source, surprise < 25.0 ? "crackle: surprise under 25" : "crackle: surprise 25 and more");
    source.evidence.push_back({fmt::format("{} short bursts over most of the band, at odd times: {}.", events.size(), told_times(events)),
                               n, "bursts", std::nullopt, {survey.take->file}, {}});
    double most = 0;
    for (const Burst& one : events) most = std::max(most, one.energy);
    double usual = 1e-30;
    for (const ChannelSurvey& channel : survey.channels) usual = std::max(usual, channel.bursts.usual_mean_square);
    source.evidence.push_back({fmt::format("The strongest holds as much energy as {:.0f} ms of the hiss round it.", 1000.0 * most / usual),
                               1000.0 * most / usual, "ms", std::nullopt, {survey.take->file}, {}});
    say_marks(source, survey, events);
}

ImpulseTrain train_of(const EvenBursts& even, const std::vector<Burst>& events, double duration_s) {
    ImpulseTrain train;
    train.rate.time_s = {0.0, std::max(duration_s, 1e-3)};
    train.rate.frequency_hz = {even.rate_hz, even.rate_hz};
    for (const Burst& one : events) train.mean_square += one.energy / std::max(duration_s, 1e-3);
    return train;
}

void add_even(std::list<NoiseSource>& sources, const TakeSurvey& survey, const std::vector<Burst>& events, const EvenBursts& even,
              std::vector<ClicksInTake>& clicks, const JudgeClicks& judge) {
    const double rate = even.rate_hz;
    ClicksInTake judged = judge(train_of(even, events, survey.duration_s));
    const NoiseKind kind = judged.ignition ? NoiseKind::ignition_tick : NoiseKind::periodic_tick;
    auto same = std::find_if(sources.begin(), sources.end(), [rate, kind](const NoiseSource& s) {
        return s.kind == kind && s.frequency_hz && std::abs(*s.frequency_hz / rate - 1.0) < 0.05;
    });
    NoiseSource& source = same == sources.end() ? sources.emplace_back() : *same;
    source.kind = kind;
    add_levels(source, survey, power_of(events, survey), 1.0);
    if (same == sources.end()) {
        source.frequency_hz = rate;
        source.frequency_sd_hz = std::max(even.rate_sd_hz, 0.001 * rate);
    }
    rest_on(source, events.size() > 5 ? "bursts: even, five and more" : "bursts: even, few");
    source.evidence.push_back({fmt::format("{} short clicks, one every {:.3f} s ({:.2f} a second); {:.0f} % of the turns between the "
                                           "first and the last hold one.",
                                           events.size(), 1.0 / rate, rate, 100.0 * even.filled),
                               rate, "Hz", std::nullopt, {survey.take->file}, {}});
    clicks.push_back(std::move(judged));
}

}  // namespace

OddBursts add_bursts(std::list<NoiseSource>& sources, const TakeSurvey& survey, std::vector<ClicksInTake>& clicks, const JudgeClicks& judge) {
    const ChannelSurvey* best = nullptr;
    for (const ChannelSurvey& channel : survey.channels)
        if (!best || channel.bursts.events.size() > best->bursts.events.size()) best = &channel;
    if (!best || static_cast<double>(best->bursts.events.size()) > kDenser_per_s * survey.duration_s) return {};
    std::vector<Burst> events = best->bursts.events;
    for (const ClicksInTake& one : clicks) events = without(unlike_clicks(std::move(events), one.train), one.train.rate);
    if (const auto even = even_bursts(events, best->bursts.left_out)) {
        std::vector<Burst> on, off;
        for (std::size_t i = 0; i < events.size(); ++i) (even->on_beat[i] ? on : off).push_back(events[i]);
        const bool left_over = std::any_of(clicks.begin(), clicks.end(), [&](const ClicksInTake& one) { return kin(one.rate_hz, even->rate_hz); });
        if (!left_over && even->mostly_filled()) add_even(sources, survey, on, *even, clicks, judge);
        events = std::move(off);
    }
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.faint_clicks) events = without(std::move(events), channel.faint_clicks->rate);
    std::erase_if(events, [](const Burst& one) { return one.surprise < kClear; });
    leave_misread(events, clicks, best->bursts);
    return {&survey, std::move(events)};
}

void add_crackle(std::list<NoiseSource>& sources, std::vector<OddBursts> takes, const std::vector<double>& ticks_hz) {
    std::size_t most = 0, all = 0;
    for (OddBursts& one : takes) {
        for (const double rate_hz : ticks_hz) one.events = without(std::move(one.events), {{0.0, 1e4}, {rate_hz, rate_hz}});
        most = std::max(most, places_of(one.events));
        all += places_of(one.events);
    }
    if (all < kLeastPlaces || most < 2) return;
    for (const OddBursts& one : takes)
        if (!one.events.empty()) add_crackle(sources, *one.survey, one.events, power_of(one.events, *one.survey));
}

}  // namespace hushtrace
