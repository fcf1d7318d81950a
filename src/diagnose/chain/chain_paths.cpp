#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "../takes/take_spans.hpp"
#include "chain_parts.hpp"
#include "hushtrace/measure/marker_finder.hpp"
#include "hushtrace/measure/noise_response.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double kAround = 0.4;             // [s] read before and after the tone: a tone file's gaps
constexpr double kInterfaceRamp = 0.05;     // [s] of a sweep that the interface itself plays
constexpr double kMostPulses = 20.0;        // [s] of pulses that are read
constexpr double kMostNoise = 60.0;         // [s] of pink noise

bool by_interface(const Take& take) { return take.tone->via == ToneVia::interface_output; }

std::vector<std::size_t> signal_channels(const Take& take) {
    std::vector<std::size_t> out;
    for (std::size_t c = 0; c < take.channels.size(); ++c)
        if (carries_signal(take.channels[c])) out.push_back(c);
    return out;
}

// Hands each block to `use`.
void read_through(const Take& take, const OpenChainTake& open, const std::function<void(const Block&, double)>& use) {
    const auto reader = open(take);
    if (reader->channels() < take.channels.size())
        throw Error(ErrorKind::invalid_input, fmt::format("{}: job.json names {} channels, the file has {}", take.file,
                                                          take.channels.size(), reader->channels()));
    Block block;
    while (reader->read(block, kReadFrames) > 0) use(block, reader->sample_rate_hz());
}

struct Placed {
    TonePlace place;
    double tone_s = 0;  ///< by the player's clock; 0 where unknown
};

// By the markers of the first channel that shows them nearly as well as the best: phases then count from its arrival.
std::optional<Placed> placed_by_markers(const Take& take, const OpenChainTake& open) {
    const auto channels = signal_channels(take);
    std::vector<MarkerFinder> finders;
    read_through(take, open, [&](const Block& block, double rate) {
        while (finders.size() < channels.size()) finders.emplace_back(rate);
        for (std::size_t i = 0; i < channels.size(); ++i) finders[i].add(block.channel(channels[i]));
    });
    constexpr double nearly = 4;
    std::vector<LinedUp> all;
    for (MarkerFinder& finder : finders)
        if (const auto found = line_up(finder.result(), take.tone->waveform)) all.push_back(*found);
    if (all.empty()) return std::nullopt;
    const auto sd = [](const LinedUp& one) { return one.opening.time_sd_s; };
    double least_s = sd(all.front());
    for (const LinedUp& one : all) least_s = std::min(least_s, sd(one));
    const auto best = std::find_if(all.begin(), all.end(), [&](const LinedUp& one) { return sd(one) <= nearly * least_s; });
    return Placed{place_of(*best), (best->tone_end_s - best->tone_start_s) / (1 + 1e-6 * best->clock_ppm)};
}

// By the sweep of whichever channel tells it best.
std::optional<Placed> placed_by_sweep(const Take& take, const PlayedSweep& played, const OpenChainTake& open) {
    const auto channels = signal_channels(take);
    std::vector<SweepFinder> finders;
    read_through(take, open, [&](const Block& block, double rate) {
        while (finders.size() < channels.size()) finders.emplace_back(rate, played, by_interface(take));
        for (std::size_t i = 0; i < channels.size(); ++i) finders[i].add(block.channel(channels[i]));
    });
    std::optional<SweepFinder::Found> best;
    for (SweepFinder& finder : finders) {
        const auto found = finder.result();
        if (!found) continue;
        const bool better = !best || found->place.clock_ppm_sd < best->place.clock_ppm_sd ||
                            (found->place.clock_ppm_sd == best->place.clock_ppm_sd &&
                             found->place.start_sd_s < best->place.start_sd_s);
        if (better) best = found;
    }
    if (!best) return std::nullopt;
    return Placed{best->place, played.sweep.duration_s};
}

TakePath path_of(const Take& take, Channel channel, std::span<const double> samples, double rate, const Placed& placed) {
    TakePath out;
    out.channel = channel;
    if (const auto* sweep = std::get_if<Sweep>(&take.tone->waveform)) {
        const PlayedSweep played{*sweep, by_interface(take) ? kInterfaceRamp : programme_ramp_s};
        out.sweep = measure_sweep_response(samples, rate, played, placed.place);
        out.transfer = out.sweep->transfer;
        out.around_s = out.sweep->coarse_delay_s;
    } else if (const auto* pulse = std::get_if<PolarityPulse>(&take.tone->waveform)) {
        out.transfer = measure_pulse_response(samples, rate, *pulse, placed.place, placed.tone_s);
    } else if (const auto* pink = std::get_if<Pink>(&take.tone->waveform)) {
        NoiseResponse read = measure_noise_response(samples, rate, *pink, placed.place, placed.tone_s);
        out.transfer = std::move(read.transfer);
        out.around_s = read.coarse_delay_s;
    }
    return out;
}

}  // namespace

AtProbe at_probe(const Job& job, const Take& take, Channel channel) {
    AtProbe out;
    const auto at = std::find(take.channels.begin(), take.channels.end(), channel);
    out.input = static_cast<std::size_t>(at - take.channels.begin());
    out.referred = job.referred_to_probe(take, out.input);
    if (out.input < take.attenuation_db.size()) out.pad_db = take.attenuation_db[out.input];
    if (out.referred.calibrated) out.scale_sd_db = job.volts_full_scale_sd_db(out.input);
    return out;
}

std::optional<Reading> difference_at_probe(const AtProbe& one, const AtProbe& other) {
    if (one.referred.calibrated != other.referred.calibrated) return std::nullopt;
    const double sd_db = one.input == other.input ? 0 : std::hypot(one.scale_sd_db.value_or(0), other.scale_sd_db.value_or(0));
    return Reading{one.referred.offset_db - other.referred.offset_db, sd_db};
}

double rough_difference_at_probe_db(const AtProbe& one, const AtProbe& other) {
    const auto known = difference_at_probe(one, other);
    return known ? known->value : one.pad_db - other.pad_db;
}

std::optional<Reading> plus(const std::optional<Reading>& a, const Reading& b) {
    if (!a) return std::nullopt;
    return Reading{a->value + b.value, std::hypot(a->sd, b.sd), a->limited_by};
}

Transfer louder_by(Transfer transfer, double by_db) {
    const double by = amplitude_from_decibels(by_db);
    for (TransferPoint& point : transfer) {
        point.gain *= by;
        point.noise_power *= by * by;
    }
    return transfer;
}

bool is_chain_take(const Take& take) {
    if (!take.tone || !std::any_of(take.channels.begin(), take.channels.end(), carries_signal)) return false;
    return std::holds_alternative<Sweep>(take.tone->waveform) || std::holds_alternative<Pink>(take.tone->waveform) ||
           std::holds_alternative<PolarityPulse>(take.tone->waveform);
}

PathsOfTake read_paths(const Take& take, const OpenChainTake& open) {
    PathsOfTake out;
    out.take = &take;
    out.placed.file = take.file;
    out.placed.kind = std::string(tone_kind_word(take.tone->waveform));
    std::optional<Placed> placed;
    if (!by_interface(take)) placed = placed_by_markers(take, open);
    out.placed.placed_by = "markers";
    const auto* sweep = std::get_if<Sweep>(&take.tone->waveform);
    if (!placed && sweep) {
        placed = placed_by_sweep(take, {*sweep, by_interface(take) ? kInterfaceRamp : programme_ramp_s}, open);
        out.placed.placed_by = "sweep";
    }
    if (!placed)
        throw Error(ErrorKind::invalid_input,
                    fmt::format("{}: {}", take.file,
                                sweep ? "the sweep that job.json states is not in it: check the lead, the source's volume "
                                        "and the sweep's own figures"
                                      : "the markers by which its tone is lined up are not in it: let the source play a "
                                        "file of 'hushtrace tones', captured from before its start to after its end"));
    out.placed.place = placed->place;

    const auto reader = open(take);
    const double rate = reader->sample_rate_hz();
    const bool is_pink = std::holds_alternative<Pink>(take.tone->waveform);
    const double tone_s = sweep ? placed->tone_s : std::min(placed->tone_s, is_pink ? kMostNoise : kMostPulses);
    const double from_s = std::max(0.0, placed->place.start_s - kAround);
    const double first_s = std::round(from_s * rate) / rate;
    placed->place.start_s -= first_s;
    const double to_s = first_s + placed->place.start_s + tone_s * (1 + 1e-6 * placed->place.clock_ppm) + kAround;
    read_spans(*reader, {{first_s, to_s}}, [&](std::size_t, const Block& block) {
        for (const std::size_t c : signal_channels(take))
            out.paths.push_back(path_of(take, take.channels[c], block.channel(c), rate, *placed));
    });
    if (out.paths.empty()) throw Error(ErrorKind::too_short, take.file + ": ends before its tone");
    out.cut_short = std::any_of(out.paths.begin(), out.paths.end(),
                                [](const TakePath& path) { return path.sweep && path.sweep->cut_short; });
    return out;
}

}  // namespace hushtrace
