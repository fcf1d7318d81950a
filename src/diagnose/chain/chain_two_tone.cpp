#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "../takes/take_spans.hpp"
#include "chain_parts.hpp"
#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double kMostRead_s = 6.0;   // more would narrow the floor under the products by little
constexpr double kLeast_s = 0.5;
constexpr double kEdge_s = 0.15;      // left out at either end: ramps, a marker's tail
constexpr double kAsked_db = 3.0;     // how near two levels must be to "equal", and to "four times"
constexpr double kFourTimes_db = 12.04;
constexpr double kSteady = 0.03;      // of the rms, from frame to frame
constexpr double kDigitalSilence = 1e-9;

struct Pair {
    double low_hz = 0, high_hz = 0, low_over_high_db = 0;
};
Pair pair_of(const TwoTone& tone) {
    const std::size_t low = tone.frequencies_hz[0] < tone.frequencies_hz[1] ? 0 : 1, high = 1 - low;
    return {tone.frequencies_hz[low], tone.frequencies_hz[high], tone.levels_dbfs[low] - tone.levels_dbfs[high]};
}

// Difference frequency: two tones alike that lie close; modulation: a strong low one under a high one.
TwoToneMethod method_of(const Take& take, const Pair& pair) {
    if (std::abs(pair.low_over_high_db) <= kAsked_db && pair.high_hz < 2.0 * pair.low_hz)
        return TwoToneMethod::difference_frequency;
    if (std::abs(pair.low_over_high_db - kFourTimes_db) <= kAsked_db && pair.high_hz >= 4.0 * pair.low_hz)
        return TwoToneMethod::modulation;
    throw Error(ErrorKind::invalid_input,
                fmt::format("{}: {:g} and {:g} Hz, the lower {:.1f} dB above the higher, are no pair that a standard "
                            "measures with: two equal tones less than an octave apart, or a low one 12 dB above one at "
                            "four times its frequency or more",
                            take.file, pair.low_hz, pair.high_hz, pair.low_over_high_db));
}

/// Levels of frames that hold whole beats of the two tones, of each channel.
struct FrameLevels {
    double frame_s = 0, rate = 0;
    std::vector<std::vector<double>> mean_square;  ///< [channels][frames]
};

FrameLevels levels_of(const Take& take, const OpenChainTake& open, const std::vector<std::size_t>& channels,
                      double frame_s) {
    const auto reader = open(take);
    if (reader->channels() < take.channels.size())
        throw Error(ErrorKind::invalid_input, fmt::format("{}: job.json names {} channels, the file has {}", take.file,
                                                          take.channels.size(), reader->channels()));
    FrameLevels out;
    out.rate = reader->sample_rate_hz();
    const auto length = static_cast<std::size_t>(std::max(1.0, std::round(frame_s * out.rate)));
    out.frame_s = static_cast<double>(length) / out.rate;
    out.mean_square.resize(channels.size());
    std::vector<double> sum(channels.size(), 0.0);
    std::size_t in_frame = 0;
    Block block;
    while (reader->read(block, kReadFrames) > 0)
        for (std::size_t n = 0; n < block.frames(); ++n) {
            for (std::size_t i = 0; i < channels.size(); ++i) {
                const double x = block.channel(channels[i])[n];
                if (!std::isfinite(x))
                    throw Error(ErrorKind::not_finite, take.file + ": a sample is not a finite number");
                sum[i] += x * x;
            }
            if (++in_frame < length) continue;
            for (std::size_t i = 0; i < channels.size(); ++i)
                out.mean_square[i].push_back(std::exchange(sum[i], 0.0) / static_cast<double>(length));
            in_frame = 0;
        }
    return out;
}

/// The longest stretch at one level, in the loudest channel; a quiet stretch is none.
std::optional<Span> steady_span(const FrameLevels& levels) {
    const std::vector<double>* loudest = nullptr;
    double most = kDigitalSilence * kDigitalSilence;
    for (const auto& channel : levels.mean_square)
        for (const double one : channel)
            if (one > most) {
                most = one;
                loudest = &channel;
            }
    if (!loudest) return std::nullopt;
    std::size_t best_from = 0, best_to = 0;
    for (std::size_t from = 0; from < loudest->size();) {
        std::size_t to = from;
        double low = (*loudest)[from], high = low;
        while (to < loudest->size() && (*loudest)[to] > 1e-3 * most) {
            low = std::min(low, (*loudest)[to]);
            high = std::max(high, (*loudest)[to]);
            if (high > low * (1.0 + 2.0 * kSteady)) break;
            ++to;
        }
        if (to - from > best_to - best_from) {
            best_from = from;
            best_to = to;
        }
        from = std::max(from + 1, to);
    }
    const double from_s = static_cast<double>(best_from) * levels.frame_s + kEdge_s,
                 to_s = static_cast<double>(best_to) * levels.frame_s - kEdge_s;
    if (to_s - from_s < kLeast_s) return std::nullopt;
    const double most_s = std::min(to_s - from_s, kMostRead_s), middle_s = 0.5 * (from_s + to_s);
    return Span{middle_s - 0.5 * most_s, middle_s + 0.5 * most_s};
}

void limit_by_interface(ChainIntermodulation& one) {
    for (Reading* reading : {&one.reading.total_ratio, &one.reading.second_order_ratio, &one.reading.third_order_ratio})
        reading->limited_by = LimitedBy::interface;
    for (IntermodulationProduct& product : one.reading.products) product.ratio.limited_by = LimitedBy::interface;
}

}  // namespace

bool is_two_tone_take(const Take& take) {
    return take.tone && std::holds_alternative<TwoTone>(take.tone->waveform) &&
           std::any_of(take.channels.begin(), take.channels.end(), carries_signal);
}

std::vector<ChainIntermodulation> read_two_tones(const OpenedJob& job, const Take& take, const OpenChainTake& open,
                                                 std::vector<Warning>& warnings) {
    const Pair pair = pair_of(std::get<TwoTone>(take.tone->waveform));
    const TwoToneMethod method = method_of(take, pair);
    std::vector<std::size_t> channels;
    for (std::size_t c = 0; c < take.channels.size(); ++c)
        if (carries_signal(take.channels[c])) channels.push_back(c);
    const double frame_s = std::max({0.05, 5.0 / pair.low_hz, 5.0 / (pair.high_hz - pair.low_hz)});
    const FrameLevels levels = levels_of(take, open, channels, frame_s);
    const auto span = steady_span(levels);
    if (!span)
        throw Error(ErrorKind::too_short,
                    fmt::format("{}: no stretch of {} s or more at one level: check the lead, and play the two tones longer",
                                take.file, kLeast_s + 2 * kEdge_s));
    std::vector<ChainIntermodulation> out;
    std::vector<std::string> reasons;
    const auto reader = open(take);
    read_spans(*reader, {*span}, [&](std::size_t, const Block& block) {
        for (const std::size_t c : channels) {
            ChainIntermodulation one;
            one.take = take.file;
            one.channel = take.channels[c];
            one.method = method;
            try {
                one.reading = measure_intermodulation(block.channel(c), levels.rate, {method, pair.low_hz, pair.high_hz});
            } catch (const Error& error) {
                reasons.push_back(fmt::format("{}, {}: {}", take.file, to_word(one.channel), error.what()));
                continue;
            }
            one.volts_full_scale = job.job.volts_full_scale(take, c);
            one.scale_sd_db = job.job.volts_full_scale_sd_db(c);
            if (share_pinned_to_rail(block.channel(c)) > kPinnedOverload) {
                limit_by_interface(one);
                warnings.push_back({"take_overload",
                                    fmt::format("the interface's converter was at its end on the {} channel: its "
                                                "intermodulation isn't the source's",
                                                to_word(one.channel)),
                                    take.file});
            }
            out.push_back(one);
        }
    });
    if (out.empty())
        throw Error(ErrorKind::invalid_input, reasons.empty() ? take.file + ": ends before its tones" : reasons.front());
    for (const std::string& reason : reasons) warnings.push_back({"channel_without_tones", reason, take.file});
    return out;
}

}  // namespace hushtrace
