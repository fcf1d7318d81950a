#include "hushtrace/measure/bursts.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"
#include "hushtrace/spectrum/transform.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kBands = 8;
constexpr double kLevelReach_s = 0.5, kApart_s = 0.02, kLongest_s = 0.06;
constexpr double kMostOfABin = 8.0;       // one line that comes and goes makes no broad burst
constexpr double kAlike = 0.04, kAlike_s = 0.003;   // how far one spacing may differ from another: a share, and the reading's own
constexpr double kSurelyEven = 7.0;                 // surprise: 1 in 1000 by chance
constexpr double kSlowest_hz = 1.0, kFastest_hz = 60.0;   // clicks a second
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
};

Frames frames_of(std::span<const double> samples, double rate, const BurstSearch& search) {
    Frames out;
    const std::size_t length = fast_length(static_cast<std::size_t>(std::max(32.0, search.frame_s * rate)));
    out.bin_hz = rate / static_cast<double>(length);
    out.hop_s = static_cast<double>(length / 2) / rate;
    out.first = static_cast<std::size_t>(std::ceil(search.from_hz / out.bin_hz));
    out.last = std::min(length / 2 - 1, static_cast<std::size_t>(std::min(search.to_hz, 0.47 * rate) / out.bin_hz));
    if (out.last < out.first + kBands) return out;
    SpectrogramStream stream(rate, length, length / 2, WindowKind::hann, [&out](double, std::span<const double> density) {
        out.density.emplace_back(density.begin() + static_cast<std::ptrdiff_t>(out.first),
                                 density.begin() + static_cast<std::ptrdiff_t>(out.last) + 1);
    });
    stream.add(samples);
    const std::size_t frames = out.density.size(), bins = out.last - out.first + 1;
    const std::size_t stride = std::max<std::size_t>(1, frames / 2000);
    std::vector<float> some;
    for (std::size_t k = 0; k < bins; ++k) {
        some.clear();
        for (std::size_t t = 0; t < frames; t += stride) some.push_back(out.density[t][k]);
        out.usual.push_back(some.empty() ? 0.0F : static_cast<float>(quantile(some, 0.5) / kLn2));
    }
    return out;
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

/// Each value against the median of what lies round it.
std::vector<double> against_neighbours(const std::vector<double>& values, std::size_t reach) {
    std::vector<double> knots, out(values.size());
    const std::size_t step = std::max<std::size_t>(1, reach / 2);
    std::vector<float> some;
    for (std::size_t centre = 0; centre < values.size() + step; centre += step) {
        const std::size_t from = centre > reach ? centre - reach : 0, to = std::min(values.size(), centre + reach);
        some.assign(values.begin() + static_cast<std::ptrdiff_t>(std::min(from, to - 1)), values.begin() + static_cast<std::ptrdiff_t>(to));
        knots.push_back(std::max(quantile(some, 0.5), 1e-30));
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
double shape_shown(const std::vector<double>& ratio) {
    std::vector<float> values(ratio.begin(), ratio.end());
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
    if (count < 100) return out;
    const std::size_t bins = frames.usual.size();
    for (const float density : frames.usual) out.usual_mean_square += static_cast<double>(density) * frames.bin_hz;
    std::vector<double> lifts(count);
    for (std::size_t t = 0; t < count; ++t) lifts[t] = lift(frames, t, 0, bins);
    const std::vector<double> ratio =
        against_neighbours(lifts, static_cast<std::size_t>(std::max(8.0, kLevelReach_s / frames.hop_s)));
    const double shape = shape_shown(ratio);
    const double least = std::log(static_cast<double>(count) / search.expected_by_chance);
    out.expected_by_chance = search.expected_by_chance;
    const double mean = 1.0 / gamma_mean_quantile(shape, 0.0);
    for (std::size_t t = 0; t < count; ++t) {
        if (ratio[t] < 1.0) continue;
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

namespace {

/// -ln of the probability that of `of` times between events so many lie as near one of them, where events come at odd times
/// (a Poisson process): the first term of the binomial tail, times the spacings that were tried.
double surprise_of_alike(std::size_t alike, std::size_t of, double spacing_s, const std::vector<Burst>& events) {
    const double mean_s = (events.back().time_s - events.front().time_s) / static_cast<double>(of);
    const double width_s = 2.0 * (kAlike * spacing_s + kAlike_s);
    const double p = std::min(0.5, width_s / mean_s * std::exp(-spacing_s / mean_s));
    const double n = static_cast<double>(of - 1), k = static_cast<double>(alike - 1);
    const double ways = std::lgamma(n + 1.0) - std::lgamma(k + 1.0) - std::lgamma(n - k + 1.0);
    return -ways - k * std::log(p) - (n - k) * std::log1p(-p) - std::log(static_cast<double>(of));
}

/// A rate to whose turns all events keep, though most turns have none: the resultant of their phases (Rayleigh), against
/// what the best of as many rates reaches by chance.
std::optional<double> common_turns(const std::vector<Burst>& events) {
    const double n = static_cast<double>(events.size());
    const double span_s = events.back().time_s - events.front().time_s;
    if (!(span_s > 0.0)) return std::nullopt;
    const double step_hz = 0.2 / span_s, tries = (kFastest_hz - kSlowest_hz) / step_hz;
    double best = 0, rate_hz = 0;
    for (double f = kSlowest_hz; f < kFastest_hz; f += step_hz) {
        double re = 0, im = 0;
        for (const Burst& one : events) {
            re += std::cos(2.0 * std::numbers::pi * f * one.time_s);
            im += std::sin(2.0 * std::numbers::pi * f * one.time_s);
        }
        const double power = (re * re + im * im) / n;
        if (power <= best) continue;
        best = power;
        rate_hz = f;
    }
    if (best < std::log(tries) + 5.0 || best < 0.6 * n) return std::nullopt;
    return 1.0 / rate_hz;
}

}  // namespace

std::optional<double> even_spacing(const std::vector<Burst>& events) {
    if (events.size() < 4) return std::nullopt;
    std::vector<double> between;
    for (std::size_t i = 1; i < events.size(); ++i) between.push_back(events[i].time_s - events[i - 1].time_s);
    std::vector<double> sorted = between;
    std::sort(sorted.begin(), sorted.end());
    // the spacing that most of the others share; a missed event makes some of them twice as long
    double best = 0;
    std::size_t most = 0;
    for (const double one : sorted) {
        const auto like = static_cast<std::size_t>(std::count_if(sorted.begin(), sorted.end(), [one](double other) {
            return std::abs(other - one) < kAlike * one + kAlike_s;
        }));
        if (like > most) {
            most = like;
            best = one;
        }
    }
    if (2 * most < between.size() || most < 3 || surprise_of_alike(most, between.size(), best, events) < kSurelyEven)
        return common_turns(events);
    double sum = 0, n = 0;
    for (const double one : between)
        if (std::abs(one - best) < kAlike * best + kAlike_s) {
            sum += one;
            n += 1.0;
        }
    return sum / n;
}

}  // namespace hushtrace
