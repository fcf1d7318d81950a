#include "tone_place.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "kept.hpp"
#include "phasor.hpp"

// [RB74] Rife and Boorstyn 1974, IEEE Trans. IT-20(5).
namespace hushtrace {
namespace {

/// The local maximum at a bin, between bins by a parabola through the logarithms.
double peak_hz(const HannPower& t, std::size_t bin) {
    const double l = std::log(t.power[bin - 1] + 1e-300), c = std::log(t.power[bin]),
                 r = std::log(t.power[bin + 1] + 1e-300);
    const double curve = l - 2 * c + r;
    const double offset = curve < 0 ? std::clamp(0.5 * (l - r) / curve, -0.5, 0.5) : 0.0;
    return (static_cast<double>(bin) + offset) * t.bin_hz;
}

/// The local maxima in a range of bins that come within 6 dB of the strongest: it first, sixteen at most.
std::vector<std::size_t> strongest_peaks(const HannPower& t, double from_hz, double to_hz) {
    constexpr std::size_t kMost = 16;
    constexpr double kWithin = 0.25;
    const auto first = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(from_hz / t.bin_hz)));
    const auto last = std::min(t.power.size() - 2, static_cast<std::size_t>(std::floor(to_hz / t.bin_hz)));
    std::vector<std::size_t> peaks;
    double strongest = 0;
    for (std::size_t k = first; k <= last; ++k) {
        if (!(t.power[k] >= t.power[k - 1] && t.power[k] >= t.power[k + 1] && t.power[k] > kWithin * strongest))
            continue;
        strongest = std::max(strongest, t.power[k]);
        peaks.push_back(k);
    }
    std::stable_sort(peaks.begin(), peaks.end(), [&](auto a, auto b) { return t.power[a] > t.power[b]; });
    while (peaks.size() > kMost || (!peaks.empty() && !(t.power[peaks.back()] > kWithin * strongest)))
        peaks.pop_back();
    return peaks;
}

/// Power of the unweighted span at a frequency.
double power_at(std::span<const double> samples, double mean, double omega) {
    double c_sum = 0, s_sum = 0;
    for_each_phasor(samples.size(), omega, 0.0, [&](std::size_t n, double c, double s) {
        c_sum += c * (samples[n] - mean);
        s_sum += s * (samples[n] - mean);
    });
    return c_sum * c_sum + s_sum * s_sum;
}

}  // namespace

HannPower hann_power(std::span<const double> samples, double mean, double rate, std::size_t padding) {
    const std::size_t length = fast_length(padding * samples.size());
    const auto kept = kept_window(WindowKind::hann, samples.size());
    const std::vector<double>& window = *kept;
    std::vector<double> padded(length, 0.0);
    for (std::size_t n = 0; n < samples.size(); ++n) padded[n] = window[n] * (samples[n] - mean);
    KeptTransform fft(length);
    std::vector<std::complex<double>> bins(fft->bins());
    fft->forward(padded, bins);
    HannPower out{std::vector<double>(bins.size()), rate / static_cast<double>(length)};
    std::transform(bins.begin(), bins.end(), out.power.begin(), [](auto x) { return std::norm(x); });
    return out;
}

std::optional<double> strongest_peak_hz(const HannPower& t, double from_hz, double to_hz) {
    const std::vector<std::size_t> peaks = strongest_peaks(t, from_hz, to_hz);
    if (peaks.empty()) return std::nullopt;
    return peak_hz(t, peaks.front());
}

// [RB74] Deep in noise the place of the tone is the maximum of the unweighted periodogram; a window, which keeps the
// leakage of other tones away, costs 2 to 3 dB of that. So the window picks the contenders and the unweighted span
// decides between them, where there are several.
std::optional<double> place_of_tone_hz(std::span<const double> samples, double mean, double rate, double from_hz,
                                       double to_hz) {
    const std::size_t padding = samples.size() < 131072 ? 2 : 1;
    const HannPower t = hann_power(samples, mean, rate, padding);
    const std::vector<std::size_t> contenders = strongest_peaks(t, from_hz, to_hz);
    if (contenders.empty()) return std::nullopt;
    if (contenders.size() == 1) return peak_hz(t, contenders.front());
    const double span_bin_hz = rate / static_cast<double>(samples.size());
    double best_hz = 0, best_power = -1;
    for (const std::size_t bin : contenders)
        for (double off_bins = -0.75; off_bins < 0.8; off_bins += 0.25) {
            const double hz = std::clamp(peak_hz(t, bin) + off_bins * span_bin_hz, from_hz, to_hz);
            const double power = power_at(samples, mean, 2.0 * std::numbers::pi * hz / rate);
            if (power > best_power) {
                best_power = power;
                best_hz = hz;
            }
        }
    return best_hz;
}

}  // namespace hushtrace
