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
constexpr double kNormal = 0.6745;  // median magnitude of a standard normal law
constexpr std::array kHalfWidths = {0.3, 0.6, 1.0, 1.5, 2.2, 3.3, 5.0, 7.5, 11.0, 16.0, 24.0};
constexpr double kRing = 6.0;           // samples by which the band limit spreads a cap
constexpr double kBand = 0.92;          // of half the rate
constexpr double kJudgedFlat = 1.5;     // caps narrower than this are too narrow to show a flat top
constexpr double kFlat = 0.5;           // what may be left of the cap
constexpr double kNearTop = 0.85;       // of the peak's height, that of a flat top's middle: coupling tilts it
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

double median(std::vector<double>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// The band-limited cap at a sample `from` its centre.
double cap_at(double from, double half_width) {
    constexpr int kSteps = 32;
    double sum = 0;
    for (int i = 0; i < kSteps; ++i) {
        const double at = -1.0 + (2 * i + 1.0) / kSteps, t = from - half_width * at;
        if (std::abs(t) >= kRing) continue;
        const double x = std::numbers::pi * kBand * t, window = std::cos(0.5 * std::numbers::pi * t / kRing);
        sum += (1.0 - at * at) * (std::abs(x) < 1e-9 ? 1.0 : std::sin(x) / x) * window * window;
    }
    return sum * kBand * half_width * 2.0 / kSteps;
}

/// How far the wave rises over the straight line between the ends of a cap's place.
double rise_over(const std::vector<double>& around, std::size_t middle, double centre, double half_width) {
    const auto at = [&](long n) { return around[static_cast<std::size_t>(static_cast<long>(middle) + n)]; };
    const long left = std::lround(centre - half_width), right = std::lround(centre + half_width);
    const double slope = (at(right) - at(left)) / static_cast<double>(std::max(1L, right - left));
    double most = 0;
    for (long n = left; n <= right; ++n)
        most = std::max(most, at(n) - at(left) - slope * static_cast<double>(n - left));
    return most;
}

}  // namespace

double PeakBreak::strength() const {
    return std::sqrt(sharpness * missing);
}

BreakFrame frame_for(double sample_rate_hz) {
    const double scale = sample_rate_hz / 48000.0;
    const auto samples = [scale](double at_48k, double least) {
        return static_cast<std::size_t>(std::max(least, at_48k * scale));
    };
    BreakFrame frame;
    frame.reach = std::min<std::size_t>(samples(4096, 1024), 16384);
    frame.near = std::min(samples(600, 200), frame.reach - kOrder);
    frame.beside = samples(120, 60);
    frame.gap = samples(24, 12);
    frame.inside = samples(16, 8);
    frame.apart = samples(24, 8);
    return frame;
}

BreakReader::BreakReader(const BreakFrame& frame) : frame_(frame), window_(2 * frame.reach + 1) {
    for (std::size_t n = 0; n < window_.size(); ++n)
        window_[n] = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(n + 1) /
                                          static_cast<double>(window_.size() + 1));
    for (const double width : kHalfWidths) {
        const double step = std::max(0.5, 0.25 * width);  // coupling tilts flat tops: the peak may lie at one's end
        std::vector<Cap>& places = caps_.emplace_back();
        for (double k = -std::ceil(width / step); k <= std::ceil(width / step); k += 1.0) {
            Cap cap{width, k * step, static_cast<std::ptrdiff_t>(std::floor(k * step - width - kRing)), {}};
            const auto last = static_cast<std::ptrdiff_t>(std::ceil(cap.centre + width + kRing));
            for (std::ptrdiff_t n = cap.first; n <= last; ++n)
                cap.shape.push_back(cap_at(static_cast<double>(n) - cap.centre, width));
            places.push_back(std::move(cap));
        }
    }
}

void BreakReader::whiten(const std::vector<double>& around) {
    // Sound that never was analogue (a decoded file) has gaps in its spectrum that hold nothing at all, and what a
    // decoder leaves there would stand out like a break: nothing finer than 100 dB below the peak is looked at.
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
    echo_.assign(kOrder + 1, 0.0);  // what both passes make of one sample, one side of it
    for (std::size_t lag = 0; lag <= kOrder; ++lag)
        for (std::size_t j = 0; j + lag <= kOrder; ++j) echo_[lag] += a[j] * a[j + lag];
}

double BreakReader::sharpness() {
    far_.clear();
    double largest = 0;
    for (std::size_t n = 0; n < white_.size(); ++n) {
        const std::size_t away = n > frame_.near ? n - frame_.near : frame_.near - n;
        if (away <= frame_.inside) largest = std::max(largest, std::abs(white_[n]));
        if (away > frame_.gap) far_.push_back(std::abs(white_[n]));
    }
    return largest / std::max(median(far_) / kNormal, 1e-30);
}

/// Standard deviation of a cap's match where no peak is: of the near stretch, or of its middle where that is livelier.
double BreakReader::noise_of(const Cap& cap) {
    far_.clear();
    beside_.clear();
    const auto length = cap.shape.size(), gap = frame_.gap + length / 2;
    for (std::size_t n = 0; n + length <= white_.size(); ++n) {
        const std::size_t place = n + length / 2;
        const std::size_t away = place > frame_.near ? place - frame_.near : frame_.near - place;
        if (away <= gap) continue;
        double match = 0;
        for (std::size_t i = 0; i < length; ++i) match += cap.shape[i] * white_[n + i];
        far_.push_back(std::abs(match));
        if (away <= gap + frame_.beside) beside_.push_back(std::abs(match));
    }
    return std::max({median(far_), median(beside_), 1e-30}) / kNormal;
}

/// Match of a cap of height 1 with itself.
double BreakReader::weight_of(const Cap& cap) const {
    double sum = 0;
    for (std::size_t i = 0; i < cap.shape.size(); ++i) {
        sum += cap.shape[i] * cap.shape[i] * echo_[0];
        for (std::size_t j = i > kOrder ? i - kOrder : 0; j < i; ++j)
            sum += 2.0 * cap.shape[i] * cap.shape[j] * echo_[i - j];
    }
    return sum;
}

PeakBreak BreakReader::read(const std::vector<double>& around) {
    whiten(around);
    PeakBreak out;
    out.sharpness = sharpness();
    for (const std::vector<Cap>& places : caps_) {
        const double noise = noise_of(places[places.size() / 2]);
        for (const Cap& cap : places) {
            const auto first = static_cast<std::size_t>(static_cast<std::ptrdiff_t>(frame_.near) + cap.first);
            double match = 0;
            for (std::size_t i = 0; i < cap.shape.size(); ++i) match -= cap.shape[i] * white_[first + i];
            if (match <= out.missing * noise) continue;
            const auto middle = static_cast<std::size_t>(static_cast<long>(frame_.reach) + std::lround(cap.centre));
            if (around[middle] < kNearTop * around[frame_.reach]) continue;
            if (cap.width >= kJudgedFlat &&
                rise_over(around, frame_.reach, cap.centre, cap.width) > kFlat * match / weight_of(cap))
                continue;
            out.missing = match / noise;
            out.width = cap.width;
            out.centre = cap.centre;
        }
    }
    return out;
}

}  // namespace hushtrace
