#include "hushtrace/measure/hunting_pulses.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "hushtrace/measure/humps.hpp"
#include "hushtrace/measure/phase_memory.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "whitened_power.hpp"

namespace hushtrace {
namespace {

constexpr double kLongest_s = 20.0, kFrom_hz = 200.0, kTo_hz = 8000.0;
constexpr double kRemembers = 0.65;      // between the 1 of a rate that drifts and the 0.15 of one that hunts
constexpr double kRecurs_sd = 5.0;
constexpr double kApart = 0.25;          // of the rate: humps wider than that run together
constexpr double kSkirt = 2.5;           // widths to where a hump 14 dB over the noise sinks into it
// The power of Gaussian noise has a spectrum that falls evenly to the band's width: nothing in it is so steep.
constexpr double kFlat = 1.15;

HumpSearch search_for(double least_surprise) {
    HumpSearch search;
    search.from_hz = kFrom_hz;
    search.to_hz = kTo_hz;
    search.least_surprise = least_surprise;
    search.shapes = {{0.01, 0.03, 0.08, kFlat}, {0.03, 0.08, 0.18, kFlat}, {0.06, 0.15, 0.3, kFlat}};
    return search;
}

StillSpectrum plain_spectrum(const ColumnMap& map) {
    StillSpectrum s;
    s.sample_rate_hz = map.sample_rate_hz;
    s.bin_hz = map.bin_hz;
    s.averages = std::max(1.0, map.averages);
    s.density = map.mean;
    return s;
}

/// Autocorrelation of the power, over its variance, [lag in samples].
std::vector<double> autocorrelation(const ColumnMap& map) {
    const std::size_t length = 2 * (map.bins() - 1);
    RealTransform transform(length);
    std::vector<std::complex<double>> bins(map.mean.begin(), map.mean.end());
    bins[0] = 0.0;
    std::vector<double> lags(length);
    transform.inverse(bins, lags);
    const double variance = lags[0];
    for (double& one : lags) one = variance > 0.0 ? one / variance : 0.0;
    return lags;
}

/// At a click the power is taken to be as usual.
void pass_over(WhitenedPower& sound, const std::vector<double>& clicks_s, double from_s) {
    constexpr double before_s = 0.003, after_s = 0.01;
    for (const double click_s : clicks_s) {
        const double at = click_s - from_s - sound.from_s, last = (at + after_s) * sound.rate_hz;
        if (last < 0.0) continue;
        const auto first = static_cast<std::size_t>(std::max(0.0, (at - before_s) * sound.rate_hz));
        for (std::size_t i = first; i < std::min(sound.power.size(), static_cast<std::size_t>(last)); ++i) sound.power[i] = 0.0;
    }
}

struct Mean {
    double value = 0, count = 0;
};
Mean mean_of(const std::vector<double>& lags, double from, double to) {
    const auto first = static_cast<std::size_t>(std::ceil(from));
    const auto last = std::max(first, static_cast<std::size_t>(std::floor(to)));
    Mean mean;
    for (std::size_t i = first; i <= last && i < lags.size(); ++i) {
        mean.value += lags[i];
        mean.count += 1.0;
    }
    if (mean.count > 0.0) mean.value /= mean.count;
    return mean;
}

/// How much likelier a pulse follows one after a period than between half and three quarters of it, or a half more [standard
/// deviations of chance].
double recurrence_sd(const std::vector<double>& lags, double period, double samples) {
    const Mean at = mean_of(lags, 0.92 * period, 1.08 * period);
    const Mean before = mean_of(lags, 0.5 * period, 0.75 * period), after = mean_of(lags, 1.35 * period, 1.6 * period);
    const double beside = 0.5 * (before.value + after.value);
    const double sd = std::sqrt((1.0 / at.count + 0.25 / before.count + 0.25 / after.count) / samples);
    return (at.value - beside) / sd;
}

/// The hump's own middle, width and power over the noise beside it.
void measure_hump(HuntingPulses& pulses, const ColumnMap& map, const Hump& hump) {
    const double side = power_from_decibels(-hump.above_db);   // of the middle
    const std::size_t low = map.bin_of(hump.low_hz), high = map.bin_of(hump.high_hz);
    std::vector<double> inside(map.mean.begin() + static_cast<std::ptrdiff_t>(low), map.mean.begin() + static_cast<std::ptrdiff_t>(high + 1));
    double sum = 0, weighted = 0, squares = 0;
    std::nth_element(inside.begin(), inside.begin() + static_cast<std::ptrdiff_t>(inside.size() / 2), inside.end());
    const double floor = std::min(side, 0.9) * inside[inside.size() / 2];
    for (std::size_t k = low; k <= high; ++k) {
        const double over = std::max(map.mean[k] - floor, 0.0);
        sum += over;
        weighted += over * map.frequency_hz(k);
        squares += over * over;
    }
    if (!(sum > 0.0)) return;
    pulses.rate_hz = weighted / sum;
    // a Lorentz curve's squared sum over the sum of its squares is pi times its width at half height
    pulses.width_hz = std::clamp(sum * sum / squares * map.bin_hz / std::numbers::pi, map.bin_hz, hump.high_hz - hump.low_hz);
    pulses.rate_sd_hz = std::max(map.bin_hz, pulses.width_hz / std::sqrt(std::max(1.0, map.averages * pulses.width_hz / map.bin_hz)));
    // the power of pulses is 1 + 2 cos(...) and so on of its mean, and the mean is the share
    pulses.share = std::min(1.0, std::sqrt(0.5 * sum * map.bin_hz));
}

}  // namespace

double HuntingPulses::scatter() const { return std::sqrt(width_hz / (2.0 * std::numbers::pi * rate_hz)); }

bool HuntingPulses::holds(double frequency_hz) const {
    const double n = std::max(1.0, std::round(frequency_hz / rate_hz)), reach_hz = n * rate_sd_hz + kSkirt * n * n * width_hz;
    return reach_hz < kApart * rate_hz && std::abs(frequency_hz - n * rate_hz) < reach_hz;
}

std::optional<HuntingPulses> find_hunting_pulses(std::span<const double> samples, double rate, double least_surprise,
                                                 const std::vector<double>& clicks_s) {
    const auto most = static_cast<std::size_t>(kLongest_s * rate);
    const std::size_t from = samples.size() > most ? (samples.size() - most) / 2 : 0;
    samples = samples.subspan(from, std::min(most, samples.size()));
    WhitenedPower sound = whitened_power(samples, rate);
    pass_over(sound, clicks_s, static_cast<double>(from) / rate);
    if (static_cast<double>(sound.power.size()) < 1.0 * sound.rate_hz) return std::nullopt;
    const ColumnMap map = column_map(sound.power, sound.rate_hz);
    std::vector<Hump> humps = find_humps(map, plain_spectrum(map), search_for(least_surprise));
    if (humps.empty()) return std::nullopt;
    std::sort(humps.begin(), humps.end(), [](const Hump& a, const Hump& b) { return a.surprise > b.surprise; });
    const std::vector<double> lags = autocorrelation(map);
    for (const Hump& hump : humps) {
        HuntingPulses pulses;
        measure_hump(pulses, map, hump);
        if (!(pulses.rate_hz > 0.0)) continue;
        pulses.recurrence_sd = recurrence_sd(lags, sound.rate_hz / pulses.rate_hz, static_cast<double>(sound.power.size()));
        if (pulses.recurrence_sd < kRecurs_sd) continue;
        const double over_floor = 1.0 - power_from_decibels(-0.5 * hump.above_db);   // in what is cut out, which is wider than the hump
        if (phase_memory(sound.power, sound.rate_hz, pulses.rate_hz, pulses.width_hz, over_floor) > kRemembers) continue;
        pulses.above_db = hump.above_db;
        pulses.surprise = hump.surprise;
        pulses.low_hz = sound.low_hz;
        pulses.high_hz = sound.high_hz;
        return pulses;
    }
    return std::nullopt;
}

}  // namespace hushtrace
