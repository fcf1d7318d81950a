#include "noise_shape.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/spectrum/spectrogram.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "median_mean.hpp"

namespace hushtrace {
namespace {

constexpr double kWindow_s = 0.2;  // bins of 5 Hz: no noise in a vehicle has a narrower bump
constexpr double kCutOff = 0.12;       // [ln] what a resonance may lose of its top; where a loud line wanders, more is left: it is no noise
constexpr double kCoarseWindow_s = 0.05;
/// Reach either way of a smoothing: a share of the frequency, so many hertz at least.
struct Stretch {
    double least_hz, share;
};
constexpr Stretch kStretches[] = {{40.0, 0.04}, {70.0, 0.07}, {110.0, 0.12}, {180.0, 0.22}};
constexpr double kConsistent = 3.0;   // standard deviations
// Over hundreds of columns a floor that is 1 % too low makes lines, one that is 1 % too high hides 0.04 dB of them.
constexpr double kNeighbours = 1.95;  // a Hann window makes powers of neighbouring bins go together: 1 + 2 (4/9 + 1/36)
constexpr double kMargin = 1.0, kMarginAtBump = 2.5;  // standard deviations

/// A value at a bin with its standard deviation; none where too few bins stand to both sides.
struct LocalFit {
    double value = 0, sd = 0;
    bool sure = false;
};

/// Value at bin b of a parabola through ln(values) over `reach` bins either way, by least squares; what stands out
/// upwards counts less, so that a line does not lift it. Hidden bins are left out.
LocalFit parabola_at(const std::vector<double>& log_values, std::size_t b, std::size_t reach, double spread,
                     const std::vector<bool>& hidden) {
    const std::size_t first = b > reach ? b - reach : 1, last = std::min(log_values.size(), b + reach + 1);
    LocalFit fit;
    double a0 = 0, a1 = 0, a2 = 0;
    for (int pass = 0; pass < 3; ++pass) {
        double w0 = 0, w1 = 0, w2 = 0, w3 = 0, w4 = 0, y0 = 0, y1 = 0, y2 = 0;
        bool all_alike = true;
        for (std::size_t k = first; k < last; ++k) {
            if (hidden[k]) continue;
            const double x = (static_cast<double>(k) - static_cast<double>(b)) / static_cast<double>(reach);
            const double over = pass == 0 ? 0.0 : (log_values[k] - (a0 + x * (a1 + x * a2))) / spread;
            const double w = over > 3.0 ? 27.0 / (over * over * over) : 1.0;
            all_alike = all_alike && w == 1.0;
            w0 += w;
            w1 += w * x;
            w2 += w * x * x;
            w3 += w * x * x * x;
            w4 += w * x * x * x * x;
            y0 += w * log_values[k];
            y1 += w * x * log_values[k];
            y2 += w * x * x * log_values[k];
        }
        if (pass == 1 && all_alike) break;   // the pass before said the same
        // normal equations of three unknowns, by Cramer's rule
        const double d = w0 * (w2 * w4 - w3 * w3) - w1 * (w1 * w4 - w2 * w3) + w2 * (w1 * w3 - w2 * w2);
        if (!(std::abs(d) > 1e-4 * w0 * w0 * w0)) return fit;  // too few bins, or all to one side
        const double variance = (w2 * w4 - w3 * w3) / d;
        // against that of a whole stretch (9/4 over its bins): at the edge of what is hidden it leans out, and what it says
        // there is no floor to hold a line against
        if (pass == 0) fit.sure = variance < 4.5 / static_cast<double>(2 * reach + 1);
        fit.sd = spread * std::sqrt(kNeighbours * variance);
        a0 = (y0 * (w2 * w4 - w3 * w3) - w1 * (y1 * w4 - w3 * y2) + w2 * (y1 * w3 - w2 * y2)) / d;
        a1 = (w0 * (y1 * w4 - w3 * y2) - y0 * (w1 * w4 - w2 * w3) + w2 * (w1 * y2 - y1 * w2)) / d;
        a2 = (w0 * (w2 * y2 - y1 * w3) - w1 * (w1 * y2 - y1 * w2) + y0 * (w1 * w3 - w2 * w2)) / d;
    }
    fit.value = a0;
    return fit;
}

/// Smooths ln(values), at each bin over as wide a stretch as the narrower ones allow: the widest whose fit lies within the
/// confidence intervals of all narrower ones (intersection of confidence intervals; Goldenshluger, Nemirovski 1997). Smooth
/// noise is averaged widely, a bump of it is followed. 
/// Smooth noise is read alike by all; at a sharp bump even the narrowest stretch cuts off its top. What it leaves is smoothed
/// once more and added there ("twicing"; Tukey, Exploratory Data Analysis, 1977, chapter 16).
std::vector<double> smooth_log(const std::vector<double>& log_values, double bin_hz, double spread, const std::vector<bool>& hidden,
                               std::vector<bool>& unsure) {
    const std::size_t bins = log_values.size();
    std::vector<double> out(bins);
    unsure.assign(bins, false);
    const auto reach_of = [bin_hz](const Stretch& stretch, std::size_t b) {
        return 4 + std::max(static_cast<std::size_t>(stretch.least_hz / bin_hz), static_cast<std::size_t>(stretch.share * static_cast<double>(b)));
    };
    std::vector<LocalFit> narrowest(bins);
    std::vector<double> left(bins);
    for (std::size_t b = 0; b < bins; ++b) {
        narrowest[b] = parabola_at(log_values, b, reach_of(kStretches[0], b), spread, hidden);
        left[b] = log_values[b] - narrowest[b].value;
    }
    for (std::size_t b = 0; b < bins; ++b) {
        double low = -1e300, high = 1e300, sd = 0, margin = kMargin;
        bool any = false;
        for (const Stretch& stretch : kStretches) {
            const bool first = &stretch == &kStretches[0];
            const LocalFit fit = first ? narrowest[b] : parabola_at(log_values, b, reach_of(stretch, b), spread, hidden);
            if (!fit.sure) continue;
            low = std::max(low, fit.value - kConsistent * fit.sd);
            high = std::min(high, fit.value + kConsistent * fit.sd);
            if (low > high) {
                margin = kMarginAtBump;
                const LocalFit more = parabola_at(left, b, reach_of(kStretches[0], b), spread, hidden);
                if (narrowest[b].sure && more.sure && std::abs(more.value) < kCutOff) {
                    out[b] = narrowest[b].value + more.value;
                    sd = narrowest[b].sd;
                }
                break;
            }
            out[b] = fit.value;
            sd = fit.sd;
            any = true;
        }
        out[b] += margin * sd;
        unsure[b] = !any;
    }
    return out;
}

/// ln of a bin's mean over time, of what lies below four times the mean that the median tells: a line that passes by counts
/// little, and of noise the estimate is nearly as good as the plain mean.
double log_mean(std::vector<float>& powers) {
    constexpr double most = 4.0;
    const double share_of_mean = 1.0 - most * std::exp(-most) / (1.0 - std::exp(-most));  // of an exponential's, so cut off
    const double cut = most * mean_from_median(powers);
    double sum = 0, count = 0;
    for (const float one : powers)
        if (static_cast<double>(one) <= cut) { sum += static_cast<double>(one); ++count; }
    return std::log(std::max(sum / std::max(count, 1.0) / share_of_mean, 1e-30));
}

/// Hann's power response, `bins` of its window away from the middle.
double hann_power(double bins) {
    const double x = std::abs(bins);
    if (x < 1e-6) return 1.0;
    if (std::abs(x - 1.0) < 1e-6) return 0.25;
    const double amplitude = std::sin(std::numbers::pi * x) / (std::numbers::pi * x * (1.0 - x * x));
    return amplitude * amplitude;
}

}  // namespace

double lobe_hz(double bin_hz, double snr_db) {
    const double over_noise_db = snr_db - 10.0 * std::log10(1.5 * bin_hz);
    return 2.6 * bin_hz * std::max(1.0, std::pow(10.0, (over_noise_db - 15.0) / 60.0));
}

namespace {

struct Means {
    NoiseShape shape;                 ///< with ln of each bin's mean
    std::vector<bool> hidden;         ///< under a line that holds still
    double columns = 0;
};

Means means_of(std::span<const double> samples, double rate, double highest_hz, const std::vector<PassedLine>& still, double window_s) {
    const std::size_t length = fast_length(static_cast<std::size_t>(window_s * rate));
    Means means;
    NoiseShape& shape = means.shape;
    shape.bin_hz = rate / static_cast<double>(length);
    const std::size_t bins = std::min(length / 2, static_cast<std::size_t>(highest_hz / shape.bin_hz) + 10);
    std::vector<std::vector<float>> powers(bins);  // [bins][columns]
    SpectrogramStream stream(rate, length, length / 2, WindowKind::hann, [&](double, std::span<const double> density) {
        for (std::size_t b = 0; b < bins; ++b) powers[b].push_back(static_cast<float>(density[b]));
    });
    stream.add(samples);
    if (powers.empty() || powers.front().empty()) return means;
    means.columns = static_cast<double>(powers.front().size());
    for (std::size_t b = 0; b < bins; ++b) {
        for (const float one : powers[b]) shape.loudest = std::max(shape.loudest, static_cast<double>(one));
        shape.log_density.push_back(log_mean(powers[b]));
    }
    means.hidden.assign(bins, false);
    for (const PassedLine& line : still) {
        const double reach = lobe_hz(shape.bin_hz, line.snr_db);
        for (std::size_t b = 0; b < bins; ++b)
            if (std::abs(static_cast<double>(b) * shape.bin_hz - line.frequency_hz) <= reach) means.hidden[b] = true;
    }
    return means;
}

}  // namespace

NoiseShape noise_shape(std::span<const double> samples, double rate, double highest_hz, const std::vector<PassedLine>& still) {
    Means means = means_of(samples, rate, highest_hz, still, kWindow_s);
    if (means.columns < 1.0) return means.shape;
    // half overlapping Hann windows count as 0.95 of their number; cutting off costs a twentieth more
    const double spread = 1.05 / std::sqrt(0.95 * means.columns);
    means.shape.log_density = smooth_log(means.shape.log_density, means.shape.bin_hz, spread, means.hidden, means.shape.unsure);
    return means.shape;
}

NoiseShape noise_of_each_bin(std::span<const double> samples, double rate, double highest_hz, const std::vector<PassedLine>& still) {
    Means means = means_of(samples, rate, highest_hz, still, kCoarseWindow_s);
    means.shape.unsure = means.hidden;
    return means.shape;
}

double NoiseShape::seen_through(double frequency_hz, double window_bin_hz) const {
    const double middle = frequency_hz / bin_hz;
    const auto reach = static_cast<std::size_t>(4.0 * window_bin_hz / bin_hz) + 1;
    const auto centre = static_cast<std::size_t>(middle + 0.5);
    double sum = 0, weight = 0;
    for (std::size_t b = centre > reach ? centre - reach : 0; b <= std::min(centre + reach, log_density.size() - 1); ++b) {
        if (unsure[b]) continue;
        const double w = hann_power((static_cast<double>(b) - middle) * bin_hz / std::max(window_bin_hz, bin_hz));
        sum += w * std::exp(log_density[b]);
        weight += w;
    }
    return weight > 0.0 ? sum / weight : 0.0;
}

bool NoiseShape::sure_at(double frequency_hz) const {
    const auto b = static_cast<std::size_t>(frequency_hz / bin_hz + 0.5);
    return b < unsure.size() && !unsure[b];
}

}  // namespace hushtrace
