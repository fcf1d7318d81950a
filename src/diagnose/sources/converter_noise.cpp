#include "converter_noise.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../takes/click_trains.hpp"
#include "../takes/take_kind.hpp"
#include "confidence.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "noise_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kMotorStrays = 0.05;   // common practice, no source
constexpr double kEven = 0.85;          // a hump that each moment fills so evenly is noise, no line that strays
constexpr double kMovesAlike = 0.6;     // correlation with what follows the engine
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

namespace {

/// Whether a frequency lies where the pulses' humps begin to run together: a path through noise, rather than a line that moves.
bool is_of_joined_humps(const TakeSurvey& survey, double frequency_hz) {
    constexpr double skirt = 2.5, half = 0.5;   // widths; of the rate
    return std::any_of(survey.channels.begin(), survey.channels.end(), [frequency_hz](const ChannelSurvey& channel) {
        if (!channel.pulses) return false;
        const double n = std::round(frequency_hz / channel.pulses->rate_hz), reach_hz = skirt * n * n * channel.pulses->width_hz;
        return reach_hz < half * channel.pulses->rate_hz && std::abs(frequency_hz - n * channel.pulses->rate_hz) < reach_hz;
    });
}

}  // namespace

bool is_of_pulses(const TakeSurvey& survey, double frequency_hz) {
    return std::any_of(survey.channels.begin(), survey.channels.end(),
                       [frequency_hz](const ChannelSurvey& channel) { return channel.pulses && channel.pulses->holds(frequency_hz); });
}

namespace {

bool is_sharp(const MovingFamily& family) {
    constexpr double sharp_db = 8.0;
    return std::any_of(family.lines.begin(), family.lines.end(),
                       [](const OrderLine& line) { return std::abs(line.ratio - 1.0) < 0.002 && line.sharpening_db > sharp_db; });
}

/// Whether noise stands in humps at multiples of a frequency.
bool has_humps_above(const TakeSurvey& survey, double frequency_hz) {
    for (const ChannelSurvey& channel : survey.channels)
        for (const Hump& hump : channel.humps)
            for (const double times : {2.0, 3.0, 4.0})
                if (is_noise(hump) && std::abs(hump.frequency_hz - times * frequency_hz) < kJoins * hump.frequency_hz) return true;
    return false;
}

}  // namespace

bool is_noise_of_a_hump(const TakeSurvey& survey, const MovingFamily& family) {
    if (is_of_pulses(survey, family.mean_hz) || is_of_joined_humps(survey, family.mean_hz)) return true;
    if (engine_active(*survey.take)) return false;
    // what is sharp once it is followed is a line, however evenly it fills the hump that it strays over; pulses have several
    if (is_sharp(family) && !has_humps_above(survey, family.mean_hz)) return false;
    for (const ChannelSurvey& channel : survey.channels)
        for (const Hump& hump : channel.humps)
            if (overlaps(hump, family.mean_hz, 0.0) && is_noise(hump)) return true;
    return false;
}

bool is_beat(const TakeSurvey& survey, const MovingFamily& family) {
    const bool alone = family.lines.size() <= 1 || family.mean_hz > kHighestMotor_hz;
    return alone && (family.mean_hz > kHighestMotor_hz || (!engine_active(*survey.take) && family.wander > kMotorStrays));
}

namespace {

/// The source that a rate belongs to, or a new one.
NoiseSource& hash_at(std::list<NoiseSource>& sources, double rate_hz, double drifts = 0.1) {
    const auto same = std::find_if(sources.begin(), sources.end(), [rate_hz, drifts](const NoiseSource& one) {
        return one.kind == NoiseKind::converter_hash && one.frequency_hz && std::abs(*one.frequency_hz / rate_hz - 1.0) < drifts;
    });
    NoiseSource& source = same == sources.end() ? sources.emplace_back() : *same;
    source.kind = NoiseKind::converter_hash;
    return source;
}

/// What the humps hold that overlap any of these, in each channel.
std::vector<double> power_of_humps(const TakeSurvey& survey, const std::vector<Hump>& humps) {
    std::vector<double> power;
    for (const ChannelSurvey& channel : survey.channels) {
        double sum = 0;
        for (const Hump& one : channel.humps)
            if (std::any_of(humps.begin(), humps.end(), [&one](const Hump& h) { return overlaps(h, one.frequency_hz, 0.0); }))
                sum += one.mean_square;
        power.push_back(sum);
    }
    return power;
}

/// Pulses' share of the band's noise, its lines cut off.
double power_of_pulses(const ChannelSurvey& channel) {
    constexpr double most_over_floor = 10.0;
    if (!channel.pulses) return 0.0;
    const PowerSpectrum& s = channel.spectrum;
    double sum = 0;
    for (std::size_t k = s.bin_of(channel.pulses->low_hz); k <= s.bin_of(channel.pulses->high_hz); ++k)
        sum += std::min(s.density[k], most_over_floor * channel.floor_density[k]) * s.bin_hz();
    return channel.pulses->share * sum;
}

/// A line that sweeps beats with what rings at each click: together they pulse at the difference, and neither is hash by itself.
bool may_be_beating(const TakeSurvey& survey, const ChannelSurvey& channel) {
    constexpr std::size_t some = 4;
    return !survey.beats.empty() && (channel.clicks || channel.bursts.events.size() >= some);
}

/// Loud clicks ring at a few kilohertz: what pulses there and holds less than they do may be their tails.
bool may_be_ringing(const ChannelSurvey& channel) {
    constexpr double rings_from_hz = 2000.0;
    return channel.clicks && channel.pulses->rate_hz > rings_from_hz && power_of_pulses(channel) < channel.clicks->mean_square;
}

/// Whether the channel with the clearest pulses has any: they tell hash however broad, whatever the engine does.
bool add_pulses(std::list<NoiseSource>& sources, const TakeSurvey& survey) {
    constexpr double share_sd_db = 3.0;
    const HuntingPulses* best = nullptr;
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.pulses && !may_be_beating(survey, channel) && !may_be_ringing(channel) &&
            (!best || channel.pulses->recurrence_sd > best->recurrence_sd))
            best = &*channel.pulses;
    if (!best) return false;
    // what rings at each of the clicks pulses too: hash that isn't clearly stronger than they are can't be told from it
    for (const ChannelSurvey& channel : survey.channels)
        if (channel.pulses && &*channel.pulses == best && power_of_pulses(channel) < power_of_clicks(channel)) return false;
    NoiseSource& source = hash_at(sources, best->rate_hz);
    std::vector<double> power;
    for (const ChannelSurvey& channel : survey.channels) power.push_back(power_of_pulses(channel));
    const auto before = source.level_dbfs;
    add_levels(source, survey, power, share_sd_db);
    if (!before || (source.level_dbfs && *source.level_dbfs > *before)) {
        source.frequency_hz = best->rate_hz;
        source.frequency_sd_hz = best->rate_sd_hz;
        source.band_hz = std::pair(best->low_hz, best->high_hz);
    }
    rest_on(source, "hash: pulses");
    source.evidence.push_back(
        {fmt::format("The noise from {:.1f} to {:.1f} kHz pulses at {:.0f} Hz, from one pulse to the next {:.0f} % early or late: "
                     "a converter at light load. Hiss, of whatever colour, does not.",
                     best->low_hz / 1000.0, best->high_hz / 1000.0, best->rate_hz, 100.0 * best->scatter()),
         best->rate_hz,
         "Hz",
         best->rate_sd_hz,
         {survey.take->file},
         {}});
    return true;
}

/// The lowest hump of which the strongest is a multiple gives the rate.
double rate_of(const std::vector<Hump>& humps, const Hump& lead) {
    double rate_hz = lead.frequency_hz;
    for (const Hump& one : humps) {
        const double n = std::round(lead.frequency_hz / one.frequency_hz);
        if (n >= 1.0 && n <= 6.0 && std::abs(lead.frequency_hz / one.frequency_hz - n) < kJoins * n)
            rate_hz = std::min(rate_hz, one.frequency_hz);
    }
    return rate_hz;
}

}  // namespace

void add_converter_hash(std::list<NoiseSource>& sources, const TakeSurvey& survey, const std::vector<SteadyComb>& combs) {
    if (add_pulses(sources, survey) || engine_active(*survey.take)) return;
    const ChannelSurvey* channel = channel_with_most(survey);
    if (!channel) return;
    std::vector<Hump> humps = own_humps(survey, *channel, combs);
    std::sort(humps.begin(), humps.end(), [](const Hump& a, const Hump& b) { return a.surprise > b.surprise; });
    // what rings at every click makes a hump of its own, and a few loud cracks make several
    if (const double clicking = power_of_clicks(*channel); clicking > 0.0)
        std::erase_if(humps, [&](const Hump& hump) { return hump.mean_square < 3.0 * clicking; });
    if (humps.empty()) return;
    const Hump& lead = humps.front();
    NoiseSource& source = hash_at(sources, lead.frequency_hz);
    const double rate_hz = rate_of(humps, lead);
    const auto joined = std::count_if(humps.begin(), humps.end(), [rate_hz](const Hump& one) {
        return std::abs(std::remainder(one.frequency_hz, rate_hz)) < kJoins * one.frequency_hz;
    });
    const auto before = source.level_dbfs;
    add_levels(source, survey, power_of_humps(survey, humps), 1.0);
    if (!before || *source.level_dbfs > *before) {
        source.frequency_hz = rate_hz;
        source.frequency_sd_hz = 0.25 * (lead.high_hz - lead.low_hz);
        source.band_hz = std::pair(lead.low_hz, lead.high_hz);
    }
    rest_on(source, joined > 1 ? "hash: several humps" : rate_hz < kHighestMotor_hz ? "hash: one hump, as low as a motor's line" : "hash: one hump");
    source.evidence.push_back({fmt::format("A hump of noise about {:.0f} Hz, {:.0f} Hz wide and {:.1f} dB over what lies beside it, too narrow "
                                           "for hiss: pulses whose rate hunts, as of a converter at light load.",
                                           lead.frequency_hz, lead.high_hz - lead.low_hz, lead.above_db),
                               lead.above_db, "dB", std::nullopt, {survey.take->file}, {}});
    if (joined > 1)
        source.evidence.push_back({fmt::format("{} humps lie about multiples of {:.0f} Hz.", joined, rate_hz), rate_hz, "Hz", std::nullopt,
                                   {survey.take->file}, {}});
}

void add_beats(std::list<NoiseSource>& sources, const TakeSurvey& survey) {
    for (const Beat& beat : survey.beats) {
        const bool of_the_engine =
            engine_active(*survey.take) && std::any_of(survey.families.begin(), survey.families.end(), [&beat](const MovingFamily& family) {
                const double times = beat.mean_hz / family.mean_hz, number = std::round(times);
                const bool multiple = number >= 1.0 && number <= 5.0 && std::abs(times - number) < 0.03 * number + beat.wander;  // hops between them
                return multiple || correlation_of(beat.ridge.track, family.ridge.track) > kMovesAlike;
            });
        if (of_the_engine || is_of_pulses(survey, beat.mean_hz)) continue;
        NoiseSource& source = hash_at(sources, beat.mean_hz, kBeatDrifts);
        const auto before = source.level_dbfs;
        add_levels(source, survey, beat.mean_square, 1.0, {beat.mean_hz});
        if (source.levels.empty()) continue;
        if (!before || *source.level_dbfs > *before) {
            source.frequency_hz = beat.mean_hz;
            source.frequency_sd_hz = beat.wander * beat.mean_hz;
        }
        rest_on(source, "hash: a beat");
        source.evidence.push_back({fmt::format("The line near {:.0f} Hz sweeps by {:.1f} %, faster than an engine or a motor changes its speed: "
                                               "the beat of two converters, or the alias of one.",
                                               beat.mean_hz, 100.0 * beat.wander),
                                   100.0 * beat.wander, "%", std::nullopt, {survey.take->file}, {}});
    }
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
