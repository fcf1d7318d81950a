#include "click_trains.hpp"

#include <algorithm>
#include <cmath>

#include "engine_speed.hpp"

namespace hushtrace {
namespace {

constexpr double kAlike = 0.02;            // rates
constexpr double kFaint = 2.5;
constexpr double kSlowestTrain_hz = 6.0;   // slower ones stand out one by one
// Common practice, no source: what clicks at rest as well is seldom the engine's; an engine idles less steadily than a
// switch.
constexpr double kThereAtRest = 0.02, kSteadyBesideOther = 0.3, kSteady = 0.003;

bool alike(double one_hz, double other_hz, double share = kAlike) { return std::abs(one_hz / other_hz - 1.0) < share; }

/// How well a train fits the engine: the density of its speed, by what is known without it.
double fits_engine(const ImpulseTrain& train, const TakeSurvey& survey, const TakeSurvey* off, const VehicleData& vehicle) {
    const double rate = train.rate.mean_hz();
    double fit = 1e-6;
    for (const auto& [order, likely] : click_orders(vehicle))
        fit += likely * log_speed_density(60.0 * rate / order, survey.take->conditions);
    return off && has_clicks_of(*off, rate) ? kThereAtRest * fit : fit;
}

}  // namespace

void find_clicks(ChannelSurvey& channel, std::span<const double> samples, double sample_rate_hz) {
    ImpulseSearch search;
    search.faint_significance = kFaint;
    for (ImpulseTrain& train : find_impulse_trains(samples, sample_rate_hz, search)) {
        if (train.rate.mean_hz() < kSlowestTrain_hz) continue;
        const bool faint = train.significance < search.least_significance;
        if (channel.clicks && !faint && train.contrast_db < kLeastContrast_db) continue;
        (faint ? channel.faint_clicks : channel.clicks ? channel.other_clicks : channel.clicks) = std::move(train);
    }
}

std::vector<SoundSpan> spans_of_clicks(const TakeSurvey& survey, double most_s) {
    std::vector<SoundSpan> out;
    for (const ChannelSurvey& channel : survey.channels)
        for (const auto* train : {&channel.clicks, &channel.other_clicks})
            if (*train && (*train)->contrast_db >= kLeastContrast_db) {
                const auto spans = loud_spans(**train, std::min(survey.duration_s, most_s));
                out.insert(out.end(), spans.begin(), spans.end());
            }
    std::sort(out.begin(), out.end(), [](const SoundSpan& a, const SoundSpan& b) { return a.from_s < b.from_s; });
    return out;
}

const ImpulseTrain* train_of_rate(const ChannelSurvey& channel, double rate_hz) {
    for (const auto* train : {&channel.clicks, &channel.other_clicks})
        if (*train && alike((*train)->rate.mean_hz(), rate_hz)) return &**train;
    return nullptr;
}

const ImpulseTrain* other_clicks(const TakeSurvey& survey, double first_hz) {
    const ImpulseTrain* best = nullptr;
    for (const ChannelSurvey& channel : survey.channels)
        for (const auto* train : {&channel.clicks, &channel.other_clicks}) {
            if (!*train || (*train)->contrast_db < kLeastContrast_db) continue;
            const double rate = (*train)->rate.mean_hz(), ratio = std::max(rate, first_hz) / std::min(rate, first_hz);
            if (alike(ratio, std::round(ratio))) continue;
            if (!best || (*train)->significance > best->significance) best = &**train;
        }
    return best;
}

void settle_clicks(TakeSurvey& survey, const TakeSurvey* off, const VehicleData& vehicle) {
    const ImpulseTrain* first = strongest_clicks(survey);
    if (!first) return;
    const ImpulseTrain* other = other_clicks(survey, first->rate.mean_hz());
    double first_hz = first->rate.mean_hz(), other_hz = other ? other->rate.mean_hz() : 0.0;
    if (other && engine_turns(survey.take->conditions.engine)) {
        double one = fits_engine(*first, survey, off, vehicle), two = fits_engine(*other, survey, off, vehicle);
        const bool steady = first->rate.wander() < kSteady, other_steady = other->rate.wander() < kSteady;
        if (steady && !other_steady) one *= kSteadyBesideOther;
        if (other_steady && !steady) two *= kSteadyBesideOther;
        if (two > one) std::swap(first_hz, other_hz);
    }
    for (ChannelSurvey& channel : survey.channels) {
        const ImpulseTrain* own = train_of_rate(channel, first_hz);
        const ImpulseTrain* beside = other_hz > 0.0 ? train_of_rate(channel, other_hz) : nullptr;
        std::optional<ImpulseTrain> clicks, more;
        if (own) clicks = *own;
        if (beside) more = *beside;
        channel.clicks = std::move(clicks);
        channel.other_clicks = std::move(more);
    }
}

double power_of_clicks(const ChannelSurvey& channel) {
    double sum = 0;
    for (const auto* train : {&channel.clicks, &channel.other_clicks})
        if (*train) sum += (*train)->mean_square;
    for (const Burst& one : channel.bursts.events) sum += one.energy / std::max(channel.bursts.duration_s, 1e-3);
    return sum;
}

bool has_clicks_of(const TakeSurvey& survey, double rate_hz) {
    return std::any_of(survey.channels.begin(), survey.channels.end(), [rate_hz](const ChannelSurvey& channel) {
        if (train_of_rate(channel, rate_hz)) return true;
        const auto even = even_bursts(channel.bursts.events, channel.bursts.left_out);
        return even && even->mostly_filled() && alike(even->rate_hz, rate_hz);
    });
}

}  // namespace hushtrace
