#include "peak_break.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <random>

namespace hushtrace {
namespace {

constexpr std::size_t kOrder = 32;
constexpr double kGrain = 1e-5;
using Predictor = std::array<double, kOrder + 1>;

/// Prediction error filter of a windowed stretch (Levinson 1947, Durbin 1960).
Predictor predictor_of(const std::vector<double>& x) {
    Predictor r{}, a{};
    for (std::size_t lag = 0; lag <= kOrder; ++lag)
        for (std::size_t n = lag; n < x.size(); ++n) r[lag] += x[n] * x[n - lag];
    a[0] = 1.0;
    double error = r[0] * (1.0 + 1e-9);
    for (std::size_t i = 1; i <= kOrder && error > 0; ++i) {
        double sum = r[i];
        for (std::size_t j = 1; j < i; ++j) sum += a[j] * r[i - j];
        const double k = -sum / error;
        Predictor next = a;
        for (std::size_t j = 1; j < i; ++j) next[j] = a[j] + k * a[i - j];
        next[i] = k;
        a = next;
        error *= 1.0 - k * k;
    }
    return a;
}

}  // namespace

BreakFrame frame_for(double sample_rate_hz) {
    const double scale = sample_rate_hz / 48000.0;
    const auto samples = [scale](double at_48k, double least) {
        return static_cast<std::size_t>(std::max(least, at_48k * scale));
    };
    BreakFrame frame;
    frame.reach = std::min<std::size_t>(samples(4096, 1024), 16384);
    frame.near = std::min(samples(600, 200), frame.reach - kOrder);
    frame.gap = samples(24, 12);
    frame.inside = samples(16, 8);
    frame.apart = samples(24, 8);
    return frame;
}

BreakReader::BreakReader(const BreakFrame& frame) : frame_(frame), window_(2 * frame.reach + 1) {
    for (std::size_t n = 0; n < window_.size(); ++n)
        window_[n] = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n + 1) /
                                          static_cast<double>(window_.size() + 1));
}

double BreakReader::read(const std::vector<double>& around) {
    // Sound that never was analogue (a decoded file) has gaps in its spectrum that hold nothing at all, and what a decoder
    // leaves there would stand out like a break: nothing finer than 100 dB below the peak is looked at.
    const double grain = kGrain * std::abs(around[frame_.reach]);
    std::mt19937 engine(1);
    noisy_.resize(around.size());
    windowed_.resize(around.size());
    for (std::size_t n = 0; n < around.size(); ++n) {
        // the sum of two even spreads of 16 bits each, of variance 1
        const double even = static_cast<double>(engine() % 65536U) + static_cast<double>(engine() % 65536U) - 65535.0;
        noisy_[n] = around[n] + grain * even * 2.449 / 65536.0;
        windowed_[n] = window_[n] * noisy_[n];
    }
    const Predictor a = predictor_of(windowed_);
    // forwards over the near stretch and a little more, then backwards: what is left keeps its place
    const std::size_t first = frame_.reach - frame_.near, count = 2 * frame_.near + 1;
    forward_.assign(count + kOrder, 0.0);
    for (std::size_t n = 0; n < forward_.size(); ++n)
        for (std::size_t j = 0; j <= kOrder; ++j)
            if (first + n >= j && first + n - j < around.size()) forward_[n] += a[j] * noisy_[first + n - j];
    white_.assign(count, 0.0);
    for (std::size_t n = 0; n < count; ++n)
        for (std::size_t j = 0; j <= kOrder; ++j) white_[n] += a[j] * forward_[n + j];
    sizes_.clear();
    double largest = 0;
    for (std::size_t n = 0; n < count; ++n) {
        const std::size_t away = n > frame_.near ? n - frame_.near : frame_.near - n;
        if (away <= frame_.inside) largest = std::max(largest, std::abs(white_[n]));
        if (away > frame_.gap) sizes_.push_back(std::abs(white_[n]));
    }
    const auto middle = sizes_.begin() + static_cast<std::ptrdiff_t>(sizes_.size() / 2);
    std::nth_element(sizes_.begin(), middle, sizes_.end());
    return largest / std::max(*middle / 0.6745, 1e-30);
}

}  // namespace hushtrace
