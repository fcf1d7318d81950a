#include "crackle.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "confidence.hpp"
#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kLeastBursts = 3, kMostTold = 12;
constexpr double kNearMark_s = 1.0, kDenser_per_s = 25.0;

std::string told_times(const std::vector<Burst>& events) {
    std::string out;
    for (std::size_t i = 0; i < std::min(events.size(), kMostTold); ++i)
        out += fmt::format("{}{:.2f}", i == 0 ? "" : ", ", events[i].time_s);
    return out + (events.size() > kMostTold ? fmt::format(" and {} more", events.size() - kMostTold) : "") + " s";
}

/// Those that keep the train's time fall on one of its phases; the rest is left.
std::vector<Burst> off_the_beat(std::vector<Burst> events, const Track& rate) {
    std::vector<double> phase;
    double turn = 0, at_s = 0;
    for (const Burst& one : events) {
        for (; at_s < one.time_s; at_s += 0.001) turn += 0.001 * rate.at(at_s);
        phase.push_back(turn - std::floor(turn));
    }
    double re = 0, im = 0;
    for (const double one : phase) {
        re += std::cos(2.0 * std::numbers::pi * one);
        im += std::sin(2.0 * std::numbers::pi * one);
    }
    const double beat = std::atan2(im, re) / (2.0 * std::numbers::pi);
    std::vector<Burst> off;
    for (std::size_t i = 0; i < events.size(); ++i)
        if (std::abs(std::remainder(phase[i] - beat, 1.0)) > 0.2) off.push_back(events[i]);
    return off;
}

/// In so many different half seconds that one bump of a hand is none.
bool spread_out(const std::vector<Burst>& events) {
    std::set<long> cells;
    for (const Burst& one : events) cells.insert(std::lround(one.time_s / 0.5));
    return cells.size() >= kLeastBursts;
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

double mean_square_of(const std::vector<Burst>& events, double duration_s) {
    double sum = 0;
    for (const Burst& one : events) sum += one.energy;
    return sum / std::max(duration_s, 1e-3);
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
    const double surprise = std::lgamma(n + 1.0) - n * std::log(by_chance);
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

void add_even(std::list<NoiseSource>& sources, const TakeSurvey& survey, const std::vector<Burst>& events, double spacing_s,
              const std::vector<double>& power) {
    const double rate = 1.0 / spacing_s;
    auto same = std::find_if(sources.begin(), sources.end(), [rate](const NoiseSource& s) {
        return s.kind == NoiseKind::periodic_tick && s.frequency_hz && std::abs(*s.frequency_hz / rate - 1.0) < 0.05;
    });
    NoiseSource& source = same == sources.end() ? sources.emplace_back() : *same;
    source.kind = NoiseKind::periodic_tick;
    add_levels(source, survey, power, 1.0);
    source.frequency_hz = rate;
    source.frequency_sd_hz = 0.01 * rate;
    rest_on(source, events.size() > 5 ? "bursts: even, five and more" : "bursts: even, few");
    source.evidence.push_back({fmt::format("{} short clicks, one every {:.3f} s ({:.2f} a second).", events.size(), spacing_s, rate), rate,
                               "Hz", std::nullopt, {survey.take->file}, {}});
}

}  // namespace

std::optional<double> add_bursts(std::list<NoiseSource>& sources, const TakeSurvey& survey, const ClicksInTake* clicks) {
    const ChannelSurvey* best = nullptr;
    for (const ChannelSurvey& channel : survey.channels)
        if (!best || channel.bursts.events.size() > best->bursts.events.size()) best = &channel;
    if (!best || best->bursts.events.size() < kLeastBursts) return std::nullopt;
    std::vector<Burst> events = best->bursts.events;
    if (clicks) events = off_the_beat(std::move(events), clicks->train.rate);
    if (events.size() < kLeastBursts || static_cast<double>(events.size()) > kDenser_per_s * survey.duration_s) return std::nullopt;
    std::vector<double> power;
    for (const ChannelSurvey& channel : survey.channels)
        power.push_back(clicks ? (&channel == best ? mean_square_of(events, best->bursts.duration_s) : 0.0)
                               : mean_square_of(channel.bursts.events, channel.bursts.duration_s));
    if (const auto spacing_s = even_spacing(events)) {
        if (!clicks) add_even(sources, survey, events, *spacing_s, power);
        return 1.0 / *spacing_s;
    }
    if (spread_out(events)) add_crackle(sources, survey, events, power);
    return std::nullopt;
}

}  // namespace hushtrace
