#include "line_spectrum.hpp"

#include "kept.hpp"
#include "phasor.hpp"

namespace hushtrace {
namespace {

std::size_t longest_fast_length(std::size_t most) {
    std::size_t best = 2;
    for (std::size_t fives = 1; fives <= most / 2; fives *= 5)
        for (std::size_t threes = fives; threes <= most / 2; threes *= 3) {
            std::size_t n = 2 * threes;
            while (n <= most / 2) n *= 2;
            best = std::max(best, n);
        }
    return best;
}

}  // namespace

LineSpectrum line_spectrum(std::span<const double> samples, double rate_hz, WindowKind kind) {
    LineSpectrum s;
    s.kind = kind;
    s.length = longest_fast_length(samples.size());
    s.bin_hz = rate_hz / static_cast<double>(s.length);
    s.lobe = window_facts(kind).main_lobe_bins;
    const auto kept = kept_window(kind, s.length);
    const std::vector<double>& window = *kept;
    const auto middle = samples.subspan((samples.size() - s.length) / 2, s.length);
    std::vector<double> weighted(s.length);
    for (std::size_t n = 0; n < s.length; ++n) {
        const double square = window[n] * window[n];
        weighted[n] = window[n] * middle[n];
        s.window_sum += window[n];
        s.window_energy += square;
        s.window_fourth += square * square;
    }
    KeptTransform fft(s.length);
    std::vector<std::complex<double>> bins(fft->bins());
    fft->forward(weighted, bins);
    s.power.resize(bins.size());
    std::transform(bins.begin(), bins.end(), s.power.begin(), [](auto x) { return std::norm(x); });
    return s;
}

LobeShape::LobeShape(WindowKind kind) : window_(*kept_window(kind, 1024)) {}

double LobeShape::power(double offset_bins) const {
    const double length = static_cast<double>(window_.size());
    std::complex<double> sum = 0;
    double whole = 0;
    for_each_phasor(window_.size(), 2.0 * std::numbers::pi * offset_bins / length, 0.0,
                    [&](std::size_t n, double c, double s) {
                        sum += window_[n] * std::complex<double>(c, s);
                        whole += window_[n];
                    });
    return std::norm(sum) / (whole * whole);
}

BinNoise noise_from_median(std::vector<double>& powers, double bandwidth_bins) {
    if (powers.empty()) return {};
    const auto middle = powers.begin() + static_cast<std::ptrdiff_t>(powers.size() / 2);
    std::nth_element(powers.begin(), middle, powers.end());
    const double mean = *middle / std::numbers::ln2;
    const double independent = std::max(1.0, static_cast<double>(powers.size()) / bandwidth_bins);
    return {mean, mean / (std::numbers::ln2 * std::sqrt(independent))};
}

// Noise of power q a bin gives q^2 a bin to the variance, a line of power P in it 2 P q, each times the window's
// correlation. The noise of a stretch of 64 bins is their median's, which a line in them hardly moves.
BandPower band_power(const LineSpectrum& s, double from_hz, double to_hz, double without_hz, const BinNoise& instead) {
    constexpr std::size_t kStretch = 64;
    const auto first = static_cast<std::size_t>(std::ceil(from_hz / s.bin_hz));
    const auto last = std::min(s.power.size() - 1, static_cast<std::size_t>(std::floor(to_hz / s.bin_hz)));
    const double without_bins = without_hz / s.bin_hz;
    BandPower out;
    double variance = 0;
    std::vector<double> stretch, scratch;
    for (std::size_t k = first; k <= last;) {
        const std::size_t end = std::min(last + 1, k + kStretch);
        stretch.clear();
        double sum = 0;
        for (; k < end; ++k) {
            const bool taken_off = std::abs(static_cast<double>(k) - without_bins) < static_cast<double>(s.lobe);
            stretch.push_back(s.noise_scale() * (taken_off ? instead.power : s.power[k]));
            sum += stretch.back();
        }
        const double count = static_cast<double>(stretch.size());
        scratch = stretch;
        const double noise = std::min(sum / count, noise_from_median(scratch, 1.0).power);
        out.power += sum;
        variance += s.correlation() * (count * noise * noise + 2.0 * (sum - count * noise) * noise);
    }
    out.sd = std::sqrt(variance);
    return out;
}

}  // namespace hushtrace
