#include "click_trains.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double kAlike = 0.02;            // rates
constexpr double kFaint = 2.5;
constexpr double kSlowestTrain_hz = 6.0;   // slower ones stand out one by one

bool alike(double one_hz, double other_hz, double share = kAlike) { return std::abs(one_hz / other_hz - 1.0) < share; }

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

const ImpulseTrain* strongest_clicks(const TakeSurvey& survey) {
    const ImpulseTrain* strongest = nullptr;
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.clicks && (!strongest || channel.clicks->significance > strongest->significance))
            strongest = &*channel.clicks;
    return strongest && strongest->contrast_db >= kLeastContrast_db ? strongest : nullptr;
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
