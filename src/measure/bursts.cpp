#include "hushtrace/measure/bursts.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kBands = 8;
constexpr double kLevelReach_s = 0.5, kApart_s = 0.02, kLongest_s = 0.06;
constexpr double kMostOfABin = 8.0;       // one line that comes and goes makes no broad burst
constexpr double kMostLeftOut = 0.9;
constexpr double kOverClicks = 8.0;       // clicks of one train differ by less, one coil from the others included
constexpr double kLn2 = 0.6931472;        // median of an exponential of mean 1

double quantile(std::vector<float>& values, double share) {
    const auto place = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), place, values.end());
    return static_cast<double>(*place);
}

struct Frames {
    double hop_s = 0, bin_hz = 0;
    std::size_t first = 0, last = 0;            // bins
    std::vector<std::vector<float>> density;    // [frames][bins from first]
    std::vector<float> usual;                   // [bins] median over time, as a mean
    std::vector<bool> left_out;                 // [frames]
};

/// Frames that touch one of the spans.
std::vector<bool> touched(const std::vector<SoundSpan>& spans, std::size_t frames, double hop_s) {
    std::vector<bool> out(frames, false);
    for (const SoundSpan& span : spans)  // frame t reaches from t to t + 2 hops, its window falls to nothing at both ends
        for (auto t = static_cast<std::size_t>(std::max(0.0, span.from_s / hop_s - 1.5));
             t < frames && (static_cast<double>(t) + 0.5) * hop_s < span.to_s; ++t)
            out[t] = true;
    return out;
}

Frames frames_of(std::span<const double> samples, double rate, const BurstSearch& search) {
    Frames out;
    const std::size_t length = fast_length(static_cast<std::size_t>(std::max(32.0, search.frame_s * rate)));
    const std::size_t hop = length / 2;
    out.bin_hz = rate / static_cast<double>(length);
    out.hop_s = static_cast<double>(hop) / rate;
    out.first = static_cast<std::size_t>(std::ceil(search.from_hz / out.bin_hz));
    out.last = std::min(hop - 1, static_cast<std::size_t>(std::min(search.to_hz, 0.47 * rate) / out.bin_hz));
    if (out.last < out.first + kBands) return out;
    SpectrogramStream stream(rate, length, hop, WindowKind::hann, [&out](double, std::span<const double> density) {
        out.density.emplace_back(density.begin() + static_cast<std::ptrdiff_t>(out.first),
                                 density.begin() + static_cast<std::ptrdiff_t>(out.last) + 1);
    });
    stream.add(samples);
    const std::size_t frames = out.density.size(), bins = out.last - out.first + 1;
    const std::size_t stride = std::max<std::size_t>(1, frames / 2000);
    out.left_out = touched(search.left_out, frames, out.hop_s);
    std::vector<float> some;
    for (std::size_t k = 0; k < bins; ++k) {
        some.clear();
        for (std::size_t t = 0; t < frames; t += stride) {  // the next one that isn't left out
            std::size_t at = t;
            while (at < std::min(frames, t + stride) && out.left_out[at]) ++at;
            if (at < std::min(frames, t + stride)) some.push_back(out.density[at][k]);
        }
        out.usual.push_back(some.empty() ? 0.0F : static_cast<float>(quantile(some, 0.5) / kLn2));
    }
    return out;
}

/// Power of a frame.
double power_of(const Frames& frames, std::size_t t) {
    double sum = 0;
    for (const float density : frames.density[t]) sum += static_cast<double>(density);
    return sum;
}

/// Power that nine of ten frames which are left out stay below; 0 where none is.
double usual_of_clicks(const Frames& frames) {
    std::vector<float> power;
    for (std::size_t t = 0; t < frames.density.size(); ++t)
        if (frames.left_out[t]) power.push_back(static_cast<float>(power_of(frames, t)));
    return power.empty() ? 0.0 : quantile(power, 0.9);
}

/// A frame's bins from one to another against their usual.
double lift(const Frames& frames, std::size_t t, std::size_t from, std::size_t to) {
    double sum = 0, n = 0;
    for (std::size_t k = from; k < to; ++k) {
        if (!(frames.usual[k] > 0.0F)) continue;
        sum += std::min(static_cast<double>(frames.density[t][k] / frames.usual[k]), kMostOfABin * 10.0);
        n += 1.0;
    }
    return n > 0.0 ? sum / n : 1.0;
}

/// Each value against the median of what lies round it, of those that aren't left out.
std::vector<double> against_neighbours(const std::vector<double>& values, std::size_t reach, const std::vector<bool>& left_out) {
    std::vector<double> knots, out(values.size());
    const std::size_t step = std::max<std::size_t>(1, reach / 2);
    std::vector<float> some;
    for (std::size_t centre = 0; centre < values.size() + step; centre += step) {
        const std::size_t from = centre > reach ? centre - reach : 0, to = std::min(values.size(), centre + reach);
        some.clear();
        for (std::size_t i = std::min(from, to - 1); i < to; ++i)
            if (!left_out[i]) some.push_back(static_cast<float>(values[i]));
        knots.push_back(some.empty() ? (knots.empty() ? values[from] : knots.back()) : std::max(quantile(some, 0.5), 1e-30));
    }
    for (std::size_t i = 0; i < values.size(); ++i) {
        const std::size_t k = i / step;
        const double part = static_cast<double>(i % step) / static_cast<double>(step);
        out[i] = values[i] / (knots[k] + part * (knots[std::min(k + 1, knots.size() - 1)] - knots[k]));
    }
    return out;
}

/// Degrees of freedom (as a gamma law's shape) that the middle of the values shows: the smaller of what lies below
/// the median and what lies above it says.
double shape_shown(const std::vector<double>& ratio, const std::vector<bool>& left_out) {
    std::vector<float> values;
    for (std::size_t t = 0; t < ratio.size(); ++t)
        if (!left_out[t]) values.push_back(static_cast<float>(ratio[t]));
    const double half = quantile(values, 0.5), low = quantile(values, 0.1), high = quantile(values, 0.9);
    const double spread = std::max(half - low, high - half) / 1.2816 / std::max(half, 1e-30);
    return std::clamp(1.0 / std::max(spread * spread, 1e-6), 1.0, 1e5);
}

}  // namespace

Bursts find_bursts(std::span<const double> samples, double sample_rate_hz, const BurstSearch& search) {
    Bursts out;
    out.duration_s = static_cast<double>(samples.size()) / sample_rate_hz;
    const Frames frames = frames_of(samples, sample_rate_hz, search);
    const std::size_t count = frames.density.size();
    const auto left_out = static_cast<std::size_t>(std::count(frames.left_out.begin(), frames.left_out.end(), true));
    if (count < 100 + left_out || static_cast<double>(left_out) > kMostLeftOut * static_cast<double>(count)) return out;
    const double over_clicks = kOverClicks * usual_of_clicks(frames);
    out.left_out = search.left_out;
    const std::size_t bins = frames.usual.size();
    for (const float density : frames.usual) out.usual_mean_square += static_cast<double>(density) * frames.bin_hz;
    std::vector<double> lifts(count);
    for (std::size_t t = 0; t < count; ++t) lifts[t] = lift(frames, t, 0, bins);
    const std::vector<double> ratio =
        against_neighbours(lifts, static_cast<std::size_t>(std::max(8.0, kLevelReach_s / frames.hop_s)), frames.left_out);
    const double shape = shape_shown(ratio, frames.left_out);
    const double least = std::log(static_cast<double>(count) / search.expected_by_chance);
    out.expected_by_chance = search.expected_by_chance;
    const double mean = 1.0 / gamma_mean_quantile(shape, 0.0);
    for (std::size_t t = 0; t < count; ++t) {
        if (ratio[t] < 1.0 || (frames.left_out[t] && power_of(frames, t) < over_clicks)) continue;
        const double surprise = surprise_of_gamma(ratio[t] / mean, shape);
        if (surprise < least) continue;
        const double time_s = (static_cast<double>(t) + 1.0) * frames.hop_s;
        double energy = 0;
        for (std::size_t k = 0; k < bins; ++k)
            energy += static_cast<double>(frames.density[t][k] - frames.usual[k]) * frames.bin_hz * frames.hop_s;
        const bool same = !out.events.empty() && time_s - out.events.back().time_s - out.events.back().length_s < kApart_s;
        if (!same) out.events.push_back({time_s, 0.0, 0.0, 0.0, 0.0});
        Burst& burst = out.events.back();
        burst.energy += std::max(energy, 0.0);
        burst.length_s = time_s - burst.time_s;
        if (surprise <= burst.surprise) continue;
        burst.surprise = surprise;
        double bands = 0;
        for (std::size_t b = 0; b < kBands; ++b) {
            const std::size_t from = b * bins / kBands, to = (b + 1) * bins / kBands;
            const double width = static_cast<double>(to - from) / 1.5;   // independent bins of a Hann window
            if (lift(frames, t, from, to) * ratio[t] / std::max(lifts[t], 1e-30) > 1.0 + 1.3 / std::sqrt(width)) bands += 1.0;
        }
        burst.bands_share = bands / static_cast<double>(kBands);
    }
    std::erase_if(out.events, [](const Burst& one) { return one.length_s > kLongest_s || one.bands_share < 0.5; });
    return out;
}

}  // namespace hushtrace
