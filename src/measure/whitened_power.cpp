#include "whitened_power.hpp"

#include <algorithm>
#include <cmath>
#include <complex>

#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {
namespace {

constexpr double kLow_hz = 1000.0, kLeastBand_hz = 2000.0, kLeastRate_hz = 22000.0, kWindow_s = 0.3;
constexpr double kLevelled_s = 0.25;   // hiss that swells is brought to one level over so long
constexpr double kMost = 8.0;          // of the mean: a lone click counts no more

using Bins = std::vector<std::complex<double>>;

std::vector<Bins> blocks_of(std::span<const double> samples, std::size_t length) {
    const std::vector<double> window = window_samples(WindowKind::hann, length);
    RealTransform transform(length);
    std::vector<Bins> blocks;
    std::vector<double> piece(length);
    for (std::size_t from = 0; from + length <= samples.size(); from += length / 2) {
        for (std::size_t i = 0; i < length; ++i) piece[i] = samples[from + i] * window[i];
        blocks.emplace_back(transform.bins());
        transform.forward(piece, blocks.back());
    }
    return blocks;
}

/// Each quarter of a second about a sample on the mean 1, and no more than so much.
void level(std::vector<double>& power, double rate) {
    std::vector<double> sums(power.size() + 1, 0.0);
    for (std::size_t i = 0; i < power.size(); ++i) sums[i + 1] = sums[i] + power[i];
    const auto reach = static_cast<std::size_t>(0.5 * kLevelled_s * rate);
    double mean = 0;
    for (std::size_t i = 0; i < power.size(); ++i) {
        const std::size_t first = i > reach ? i - reach : 0, last = std::min(power.size(), i + reach + 1);
        const double about = (sums[last] - sums[first]) / static_cast<double>(last - first);
        power[i] = about > 0.0 ? std::min(power[i] / about, kMost) : 0.0;
        mean += power[i] / static_cast<double>(power.size());
    }
    for (double& one : power) one -= mean;
}

}  // namespace

WhitenedPower whitened_power(std::span<const double> samples, double rate) {
    WhitenedPower out;
    const auto step = static_cast<std::size_t>(std::max(1.0, std::floor(rate / kLeastRate_hz)));
    const std::size_t short_length = fast_length(static_cast<std::size_t>(kWindow_s * rate / static_cast<double>(step)));
    const std::size_t length = short_length * step, hop = short_length / 2;
    out.rate_hz = rate / static_cast<double>(step);
    out.low_hz = kLow_hz;
    out.high_hz = std::min(0.45 * rate, kLow_hz + 0.49 * out.rate_hz);
    if (out.high_hz < out.low_hz + kLeastBand_hz || samples.size() < 4 * length) return out;
    std::vector<Bins> blocks = blocks_of(samples, length);
    const double bin_hz = rate / static_cast<double>(length);
    // odd: a shift by an even number of bins turns by whole turns from block to block
    const std::size_t low = static_cast<std::size_t>(out.low_hz / bin_hz) | 1, high = static_cast<std::size_t>(out.high_hz / bin_hz);
    std::vector<double> sums(high, 0.0);
    for (const Bins& block : blocks)
        for (std::size_t k = 0; k < high; ++k) sums[k] += std::norm(block[k]);
    constexpr double rounding = 1e-26;   // of the strongest bin: below it lies the arithmetic's own noise
    const double least = rounding * *std::max_element(sums.begin(), sums.end());
    std::vector<double> gain(high - low, 0.0);
    for (std::size_t k = low; k < high; ++k) {
        const double sum = sums[k];
        if (sum > least) gain[k - low] = std::sqrt(static_cast<double>(blocks.size()) / sum);
    }
    // the band's lowest bin is moved to the first: that changes no power
    RealTransform back(short_length);
    Bins shifted(back.bins()), turned(back.bins());
    std::vector<double> in_phase((blocks.size() + 1) * hop, 0.0), quadrature(in_phase.size(), 0.0), piece(short_length);
    for (std::size_t b = 0; b < blocks.size(); ++b) {
        std::fill(shifted.begin(), shifted.end(), 0.0);
        for (std::size_t k = low; k < high && k - low + 1 < shifted.size(); ++k) shifted[k - low + 1] = blocks[b][k] * gain[k - low];
        for (std::size_t k = 0; k < shifted.size(); ++k) turned[k] = {shifted[k].imag(), -shifted[k].real()};
        back.inverse(shifted, piece);
        for (std::size_t i = 0; i < short_length; ++i) in_phase[b * hop + i] += piece[i];
        back.inverse(turned, piece);
        for (std::size_t i = 0; i < short_length; ++i) quadrature[b * hop + i] += piece[i];
    }
    for (std::size_t i = hop; i + hop < in_phase.size(); ++i) out.power.push_back(in_phase[i] * in_phase[i] + quadrature[i] * quadrature[i]);
    out.from_s = static_cast<double>(hop) / out.rate_hz;
    level(out.power, out.rate_hz);
    return out;
}

}  // namespace hushtrace
