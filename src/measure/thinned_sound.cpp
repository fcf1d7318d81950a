#include "hushtrace/measure/thinned_sound.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "bessel_i0.hpp"

namespace hushtrace {
namespace {

/// Kaiser's design (1974): a low-pass with a transition of so much of the rate, 80 dB down beyond it; odd in length.
std::vector<double> low_pass(double cutoff, double transition) {
    constexpr double stop_db = 80.0, beta = 0.1102 * (stop_db - 8.7);
    const auto half = static_cast<std::ptrdiff_t>(std::ceil((stop_db - 7.95) / (2.0 * 14.36 * transition)));
    std::vector<double> taps;
    for (std::ptrdiff_t k = -half; k <= half; ++k) {
        const double x = static_cast<double>(k), edge = x / static_cast<double>(half + 1);
        const double sinc = k == 0 ? 2.0 * cutoff : std::sin(2.0 * std::numbers::pi * cutoff * x) / (std::numbers::pi * x);
        taps.push_back(sinc * bessel_i0(beta * std::sqrt(1.0 - edge * edge)) / bessel_i0(beta));
    }
    return taps;
}

double product(const double* a, const double* b, std::size_t count) {
    double sums[4] = {};  // four at once
    std::size_t i = 0;
    for (; i + 4 <= count; i += 4)
        for (std::size_t lane = 0; lane < 4; ++lane) sums[lane] += a[i + lane] * b[i + lane];
    for (; i < count; ++i) sums[0] += a[i] * b[i];
    return (sums[0] + sums[1]) + (sums[2] + sums[3]);
}

}  // namespace

ThinnedSound thinned(std::span<const double> samples, double rate, double highest_hz) {
    const auto step = static_cast<std::size_t>(std::max(1.0, std::floor(rate / (2.4 * highest_hz))));
    ThinnedSound out{{}, rate / static_cast<double>(step)};
    if (step == 1) {
        out.samples.assign(samples.begin(), samples.end());
        return out;
    }
    // what lies above the new rate less the band would fold into it
    const double pass = highest_hz / rate, stop = (out.rate_hz - highest_hz) / rate;
    const std::vector<double> taps = low_pass(0.5 * (pass + stop), stop - pass);
    const auto half = static_cast<std::ptrdiff_t>(taps.size() / 2), count = static_cast<std::ptrdiff_t>(samples.size());
    out.samples.reserve(samples.size() / step + 1);
    for (std::ptrdiff_t n = 0; n < count; n += static_cast<std::ptrdiff_t>(step)) {
        const std::ptrdiff_t first = std::max<std::ptrdiff_t>(0, n - half), last = std::min(count - 1, n + half);
        out.samples.push_back(product(samples.data() + first, taps.data() + (first - n + half), static_cast<std::size_t>(last - first + 1)));
    }
    return out;
}

}  // namespace hushtrace
