#include "gain_noise.hpp"

#include <algorithm>

#include "../takes/clear_part.hpp"
#include "../takes/floor_reading.hpp"
#include "../takes/take_kind.hpp"
#include "../takes/take_spans.hpp"
#include "hushtrace/measure/noise_floor.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/averaged_spectrum.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {
namespace {

constexpr double kMostRead = 60.0;  // [s]

std::optional<InputNoise> read_through(const OpenedJob& job, const Take& take, const OpenTake& open,
                                     const std::vector<Channel>& channels) {
    Part clear;
    if (take.tone && take.tone->via != ToneVia::interface_output) clear = between_markers(*open(take));
    const auto whole = open(take);
    PartReader reader(*whole, clear);
    const double rate = reader.sample_rate_hz();
    std::vector<SpectrumAccumulator> spectra;
    std::vector<std::size_t> from;
    for (std::size_t c = 0; c < std::min(take.channels.size(), reader.channels()); ++c)
        if (std::find(channels.begin(), channels.end(), take.channels[c]) != channels.end() &&
            job.job.volts_full_scale(take, c)) {
            from.push_back(c);
            spectra.emplace_back(rate, fast_length(static_cast<std::size_t>(rate / 4)));
        }
    Block block;
    double read_s = 0;
    while (!from.empty() && read_s < kMostRead && reader.read(block, kReadFrames) > 0) {
        for (std::size_t i = 0; i < from.size(); ++i) spectra[i].add(block.channel(from[i]));
        read_s += static_cast<double>(block.frames()) / rate;
    }
    std::optional<InputNoise> noisiest;
    for (std::size_t i = 0; i < from.size(); ++i) {
        if (spectra[i].segments() == 0) continue;
        const double volts = *job.job.volts_full_scale(take, from[i]);
        const Reading read = noise_floor(spectra[i].result()).all.unweighted;
        Reading squared{read.value * volts * volts, read.sd * volts * volts, read.limited_by};  // [V^2]
        if (!(squared.value > 0)) continue;
        if (const auto own_dbv = job.job.own_noise_at_probe_dbv(kOwnNoiseFields.front(), take, from[i])) {
            const double own = power_from_decibels(*own_dbv);
            squared = less_interface(squared, {own, own * (power_from_decibels(kOwnNoiseSd_db) - 1.0), {}});
        }
        const double dbv = decibels_from_power(squared.value);
        if (noisiest && dbv <= noisiest->dbv) continue;
        noisiest = InputNoise{&take, take.file, take.channels[from[i]], take.conditions.engine, dbv,
                              decibels_from_power(1.0 + squared.sd / squared.value), squared.limited_by};
    }
    return noisiest;
}

}  // namespace

std::optional<InputNoise> read_noise(const OpenedJob& job, const Take& take, const OpenTake& open,
                                     const std::vector<Channel>& channels) {
    try {
        return read_through(job, take, open, channels);
    } catch (const Error&) {
        return std::nullopt;
    }
}

std::optional<InputNoise> noise_at_input(const OpenedJob& job, const OpenTake& open,
                                         const std::vector<Channel>& channels, const std::string& amplifier) {
    for (const bool engine_off : {true, false})
        for (const Take& take : job.job.takes) {
            if (!is_noise_at_input(take) || engine_turns(take.conditions.engine) == engine_off) continue;
            if (!amplifier.empty() && take.conditions.at_amplifier.value_or(amplifier) != amplifier) continue;
            if (auto found = read_noise(job, take, open, channels)) return found;
        }
    return std::nullopt;
}

}  // namespace hushtrace
