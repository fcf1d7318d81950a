#include "converter_noise.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"
#include "noise_sources.hpp"

namespace hushtrace {
namespace {

constexpr double kMotorHighest_hz = 3500.0, kMotorStrays = 0.05;   // common practice, no source
constexpr double kEven = 0.85;          // a hump that each moment fills so evenly is noise, no line that strays
constexpr double kJoins = 0.06;         // of a rate: how far humps may lie off its multiples

bool overlaps(const Hump& hump, double frequency_hz, double reach_hz) {
    return frequency_hz > hump.low_hz - reach_hz && frequency_hz < hump.high_hz + reach_hz;
}

bool is_noise(const Hump& hump) {
    return hump.evenness && *hump.evenness > kEven;
}

/// Humps that are no line's: neither of a comb of many teeth nor of a followed line.
std::vector<Hump> own_humps(const TakeSurvey& survey, const ChannelSurvey& channel, const std::vector<SteadyComb>& combs) {
    std::vector<Hump> humps = channel.humps;
    std::erase_if(humps, [&](const Hump& hump) {
        if (!is_noise(hump)) return true;
        for (const SteadyComb& comb : combs) {
            if (overlaps(hump, comb.frequency_hz, 5.0)) return true;
            for (const Harmonic& one : comb.harmonics)
                if (overlaps(hump, one.frequency_hz, 5.0)) return true;
        }
        for (const MovingFamily& family : survey.families) {
            if (is_noise_of_a_hump(survey, family)) continue;
            for (const OrderLine& line : family.lines)
                if (overlaps(hump, line.ratio * family.mean_hz, 3.0 * family.wander * line.ratio * family.mean_hz)) return true;
        }
        return false;
    });
    return humps;
}

const ChannelSurvey* channel_with_most(const TakeSurvey& survey) {
    const ChannelSurvey* best = nullptr;
    double most = 0;
    for (const ChannelSurvey& channel : survey.channels) {
        double sum = 0;
        for (const Hump& one : channel.humps) sum += one.surprise;
        if (sum > most) {
            most = sum;
            best = &channel;
        }
    }
    return best;
}

}  // namespace

bool is_noise_of_a_hump(const TakeSurvey& survey, const MovingFamily& family) {
    if (engine_active(*survey.take)) return false;
    for (const ChannelSurvey& channel : survey.channels)
        for (const Hump& hump : channel.humps)
            if (overlaps(hump, family.mean_hz, 0.0) && is_noise(hump)) return true;
    return false;
}

bool is_beat(const TakeSurvey& survey, const MovingFamily& family) {
    const bool alone = family.lines.size() <= 1 || family.mean_hz > kMotorHighest_hz;
    return alone && (family.mean_hz > kMotorHighest_hz || (!engine_active(*survey.take) && family.wander > kMotorStrays));
}

void add_converter_hash(std::list<NoiseSource>& sources, const TakeSurvey& survey, const std::vector<SteadyComb>& combs) {
    if (engine_active(*survey.take)) return;
    const ChannelSurvey* channel = channel_with_most(survey);
    if (!channel) return;
    std::vector<Hump> humps = own_humps(survey, *channel, combs);
    std::sort(humps.begin(), humps.end(), [](const Hump& a, const Hump& b) { return a.surprise > b.surprise; });
    // what rings at every click makes a hump of its own, but not one at each multiple of a rate
    if (channel->clicks && humps.size() < 2)
        std::erase_if(humps, [&](const Hump& hump) { return hump.mean_square < 3.0 * channel->clicks->mean_square; });
    if (humps.empty()) return;
    const Hump& lead = humps.front();
    auto same = std::find_if(sources.begin(), sources.end(), [&lead](const NoiseSource& one) {
        return one.kind == NoiseKind::converter_hash && one.frequency_hz && std::abs(*one.frequency_hz / lead.frequency_hz - 1.0) < 0.1;
    });
    NoiseSource& source = same == sources.end() ? sources.emplace_back() : *same;
    source.kind = NoiseKind::converter_hash;
    // the lowest hump of which the strongest is a multiple gives the rate
    double rate_hz = lead.frequency_hz;
    std::size_t joined = 0;
    for (const Hump& one : humps) {
        const double n = std::round(lead.frequency_hz / one.frequency_hz);
        if (n >= 1.0 && n <= 6.0 && std::abs(lead.frequency_hz / one.frequency_hz - n) < kJoins * n)
            rate_hz = std::min(rate_hz, one.frequency_hz);
    }
    for (const Hump& one : humps)
        if (std::abs(std::remainder(one.frequency_hz, rate_hz)) < kJoins * one.frequency_hz) ++joined;
    std::vector<double> power;
    for (const ChannelSurvey& any : survey.channels) {
        double sum = 0;
        for (const Hump& one : any.humps)
            if (std::any_of(humps.begin(), humps.end(), [&one](const Hump& h) { return overlaps(h, one.frequency_hz, 0.0); }))
                sum += one.mean_square;
        power.push_back(sum);
    }
    const auto before = source.level_dbfs;
    add_levels(source, survey, power, 1.0);
    if (!before || *source.level_dbfs > *before) {
        source.frequency_hz = rate_hz;
        source.frequency_sd_hz = 0.25 * (lead.high_hz - lead.low_hz);
        source.band_hz = std::pair(lead.low_hz, lead.high_hz);
    }
    rest_on(source, joined > 1 ? "hash: several humps" : "hash: one hump");
    source.evidence.push_back({fmt::format("A hump of noise about {:.0f} Hz, {:.0f} Hz wide and {:.1f} dB over what lies beside it, too narrow "
                                           "for hiss: pulses whose rate hunts, as of a converter at light load.",
                                           lead.frequency_hz, lead.high_hz - lead.low_hz, lead.above_db),
                               lead.above_db, "dB", std::nullopt, {survey.take->file}, {}});
    if (joined > 1)
        source.evidence.push_back({fmt::format("{} humps lie about multiples of {:.0f} Hz.", joined, rate_hz), rate_hz, "Hz", std::nullopt,
                                   {survey.take->file}, {}});
}

void say_sample_rates(NoiseSource& source, const std::list<TakeSurvey>& surveys) {
    if (source.kind != NoiseKind::converter_hash || !source.frequency_hz) return;
    const auto holds = [&source](const TakeSurvey& survey) {
        return std::find(source.takes.begin(), source.takes.end(), survey.take->file) != source.takes.end();
    };
    for (const TakeSurvey& with : surveys)
        for (const TakeSurvey& other : surveys) {
            const Conditions &a = with.take->conditions, &b = other.take->conditions;
            if (&with == &other || !holds(with) || std::abs(with.sample_rate_hz - other.sample_rate_hz) < 1.0) continue;
            if (a.engine != b.engine || a.hookup != b.hookup || a.loads != b.loads || a.attached != b.attached) continue;
            source.evidence.push_back(
                {holds(other) ? fmt::format("At {:.0f} Hz and at {:.0f} Hz sample rate it lies at the same frequency: it is in the signal, not "
                                            "an alias of the capture.",
                                            with.sample_rate_hz, other.sample_rate_hz)
                              : fmt::format("At a sample rate of {:.0f} Hz it is not there, at {:.0f} Hz it is: an alias that the capture makes "
                                            "of something above its band.",
                                            other.sample_rate_hz, with.sample_rate_hz),
                 other.sample_rate_hz, "Hz", std::nullopt, {with.take->file, other.take->file}, {}});
            return;
        }
    source.evidence.push_back({fmt::format("Capture once more at another sample rate than {:.0f} Hz: an alias of a carrier above the band moves, "
                                           "a true sound stays at its frequency.",
                                           surveys.front().sample_rate_hz),
                               surveys.front().sample_rate_hz, "Hz", std::nullopt, source.takes, {}});
}

}  // namespace hushtrace
