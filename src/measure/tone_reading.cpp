#include "hushtrace/measure/tone_reading.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <utility>
#include <vector>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "phasor.hpp"
#include "tone_place.hpp"

// [IEEE1057] four-parameter sine fit, here as Gauss-Newton steps with the time counted from the span's
// middle, where phase and frequency don't disturb each other. [RB74] Rife and Boorstyn 1974.
namespace hushtrace {
namespace {

constexpr double kTwoPi = 2.0 * std::numbers::pi;
constexpr std::size_t kHarmonics = 10;
constexpr double kLeastCycles = 3.0;

using Vector4 = std::array<double, 4>;
using Matrix4 = std::array<Vector4, 4>;

/// Inverse of a symmetric positive matrix by Gauss-Jordan, its columns scaled first; false when it is
/// singular.
bool invert(Matrix4 m, Matrix4& inverse) {
    Vector4 scale{};
    for (std::size_t i = 0; i < 4; ++i) {
        if (!(m[i][i] > 0)) return false;
        scale[i] = 1.0 / std::sqrt(m[i][i]);
    }
    for (std::size_t i = 0; i < 4; ++i)
        for (std::size_t j = 0; j < 4; ++j) {
            m[i][j] *= scale[i] * scale[j];
            inverse[i][j] = i == j ? 1.0 : 0.0;
        }
    for (std::size_t i = 0; i < 4; ++i) {
        const double pivot = m[i][i];
        if (pivot < 1e-12) return false;
        for (std::size_t j = 0; j < 4; ++j) {
            m[i][j] /= pivot;
            inverse[i][j] /= pivot;
        }
        for (std::size_t r = 0; r < 4; ++r) {
            if (r == i) continue;
            const double factor = m[r][i];
            for (std::size_t j = 0; j < 4; ++j) {
                m[r][j] -= factor * m[i][j];
                inverse[r][j] -= factor * inverse[i][j];
            }
        }
    }
    for (std::size_t i = 0; i < 4; ++i)
        for (std::size_t j = 0; j < 4; ++j) inverse[i][j] *= scale[i] * scale[j];
    return true;
}

/// dc, a fundamental and its harmonics: part k is cosine[k] cos(k w m) + sine[k] sin(k w m), m from the
/// middle.
class SineFit {
public:
    SineFit(std::span<const double> samples, double omega, double mean, std::size_t most_parts = kHarmonics)
        : samples_(samples), rest_(samples.size()), omega_(omega), mean_(mean) {
        const double below_half_rate = std::max(1.0, 0.98 * std::numbers::pi / omega);
        parts_ = std::min(most_parts, static_cast<std::size_t>(below_half_rate));
    }

    void run() {
        const double n = static_cast<double>(samples_.size());
        for (int round = 0; round < 25; ++round) {
            subtract_model();
            const double frequency_step = step_fundamental();
            const double harmonic_step = step_harmonics();
            const double size = amplitude() + 1e-300;
            if (std::abs(frequency_step) * n < 1e-9 && harmonic_step < 1e-11 * size) break;
        }
        subtract_model();
        if (!invert(normal_, covariance_))
            throw Error(ErrorKind::too_short, "tone: the span is too short for its frequency");
    }

    double omega() const { return omega_; }
    double mean() const { return mean_; }
    double amplitude() const { return std::hypot(cosine_[1], sine_[1]); }
    /// Of amplitude cos(w n + phase) at the first sample.
    double phase() const {
        const double at_first = std::atan2(-sine_[1], cosine_[1]) - omega_ * middle();
        return std::remainder(at_first, kTwoPi);
    }
    std::span<const double> rest() const { return rest_; }
    std::size_t unknowns() const { return 2 * parts_ + 2; }
    /// For noise of unit variance a sample.
    double omega_variance() const { return covariance_[3][3]; }
    double amplitude_variance() const {
        const double c = cosine_[1] / amplitude(), s = sine_[1] / amplitude();
        return c * c * covariance_[0][0] + s * s * covariance_[1][1] + 2 * c * s * covariance_[0][1];
    }

private:
    double middle() const { return 0.5 * static_cast<double>(samples_.size() - 1); }

    void subtract_model() {
        for (std::size_t n = 0; n < rest_.size(); ++n) rest_[n] = samples_[n] - mean_;
        for (std::size_t k = 1; k <= parts_; ++k) {
            const double a = cosine_[k], b = sine_[k], w = omega_ * static_cast<double>(k);
            if (a == 0.0 && b == 0.0) continue;
            for_each_phasor(rest_.size(), w, -w * middle(),
                            [&](std::size_t n, double c, double s) { rest_[n] -= a * c + b * s; });
        }
    }

    /// One Gauss-Newton step of cosine, sine, dc and frequency; returns the frequency's step [rad/sample].
    double step_fundamental() {
        normal_ = {};
        Vector4 right{};
        const double a = cosine_[1], b = sine_[1], half = middle();
        const bool with_frequency = a != 0.0 || b != 0.0;
        for_each_phasor(rest_.size(), omega_, -omega_ * half, [&](std::size_t n, double c, double s) {
            const double m = static_cast<double>(n) - half;
            const Vector4 column = {c, s, 1.0, m * (b * c - a * s)};
            for (std::size_t i = 0; i < 4; ++i) {
                right[i] += column[i] * rest_[n];
                for (std::size_t j = i; j < 4; ++j) normal_[i][j] += column[i] * column[j];
            }
        });
        for (std::size_t i = 0; i < 4; ++i)
            for (std::size_t j = 0; j < i; ++j) normal_[i][j] = normal_[j][i];
        if (!with_frequency) {
            normal_[3] = {0, 0, 0, 1};
            normal_[0][3] = normal_[1][3] = normal_[2][3] = right[3] = 0;
        }
        Matrix4 inverse{};
        if (!invert(normal_, inverse))
            throw Error(ErrorKind::too_short, "tone: the span is too short for its frequency");
        Vector4 step{};
        for (std::size_t i = 0; i < 4; ++i)
            for (std::size_t j = 0; j < 4; ++j) step[i] += inverse[i][j] * right[j];
        // Half a bin is more than the transform can have been wrong by: a longer step is not believed.
        const double longest = std::numbers::pi / static_cast<double>(samples_.size());
        step[3] = with_frequency ? std::clamp(step[3], -longest, longest) : 2 * longest;
        cosine_[1] += step[0];
        sine_[1] += step[1];
        mean_ += step[2];
        if (with_frequency) omega_ += step[3];
        return step[3];
    }

    /// Each harmonic by its projection on what is left; returns the largest change.
    double step_harmonics() {
        if (parts_ < 2) return 0;
        double largest = 0;
        const double scale = 2.0 / static_cast<double>(samples_.size());
        for (std::size_t k = 2; k <= parts_; ++k) {
            const double w = omega_ * static_cast<double>(k);
            double c_sum = 0, s_sum = 0;
            for_each_phasor(rest_.size(), w, -w * middle(), [&](std::size_t n, double c, double s) {
                c_sum += c * rest_[n];
                s_sum += s * rest_[n];
            });
            cosine_[k] += scale * c_sum;
            sine_[k] += scale * s_sum;
            largest = std::max(largest, scale * std::hypot(c_sum, s_sum));
        }
        return largest;
    }

    std::span<const double> samples_;
    std::vector<double> rest_;
    double omega_, mean_;
    std::size_t parts_ = 1;
    std::array<double, kHarmonics + 1> cosine_{}, sine_{};
    Matrix4 normal_{}, covariance_{};
};

/// Noise next to a tone, as the variance a sample of white noise of that density [full scale squared].
double variance_beside(const HannPower& t, std::size_t samples, double frequency_hz,
                       double white_variance) {
    constexpr std::size_t kReach = 32, kGap = 2, kFewest = 8;
    const double energy = 0.375 * static_cast<double>(samples);  // a Hann window's: 3/8 a sample
    const auto centre = static_cast<std::size_t>(std::lround(frequency_hz / t.bin_hz));
    const std::size_t first = centre > kReach + 1 ? centre - kReach : 1;
    const std::size_t last = std::min(centre + kReach, t.power.size() - 2);
    double sum = 0;
    std::size_t count = 0;
    for (std::size_t k = first; k <= last; ++k)
        if (k + kGap < centre || k > centre + kGap) {
            sum += t.power[k];
            ++count;
        }
    return count < kFewest ? white_variance : sum / static_cast<double>(count) / energy;
}

/// A line of the rest, loud and near enough to bend the tone's fit by more than 0.002 dB, and no mere noise
/// peak.
std::optional<double> disturbing_line_hz(const HannPower& t, double rate, const SineFit& fit) {
    constexpr double kLeastBend = 2e-4, kAboveNoise = 30.0;
    const double tone_hz = fit.omega() / kTwoPi * rate, n = static_cast<double>(fit.rest().size());
    double mean_power = 0;
    for (const double p : t.power) mean_power += p / static_cast<double>(t.power.size());
    std::optional<double> worst_hz;
    double worst_bend = kLeastBend;
    for (std::size_t k = 1; k + 1 < t.power.size(); ++k) {
        const double apart_bins = std::abs(static_cast<double>(k) * t.bin_hz - tone_hz) * n / rate;
        if (apart_bins < 3.0 || t.power[k] < t.power[k - 1] || t.power[k] < t.power[k + 1]) continue;
        // A Hann-windowed line of amplitude a has the power (a N / 4)^2; a line d bins away bends an
        // unweighted fit by up to a / (pi d).
        const double bend =
            4.0 * std::sqrt(t.power[k]) / n / (std::numbers::pi * apart_bins * fit.amplitude());
        if (bend > worst_bend && t.power[k] > kAboveNoise * mean_power) {
            worst_bend = bend;
            worst_hz = strongest_peak_hz(t, (static_cast<double>(k) - 1) * t.bin_hz,
                                         (static_cast<double>(k) + 1) * t.bin_hz);
        }
    }
    return worst_hz;
}

/// How far all that lies apart from the tone and was not fitted bends the unweighted fit: a standard uncertainty
/// relative to the amplitude. A line of amplitude a, d bins away, bends it by up to a / (pi d), half of that as an
/// rms over its phase and place. What is random adds in power; the harmonics above the fitted ones hang together, so
/// they add as amplitudes. The noise that the density beside the tone accounts for is left out.
double bend_from_apart(const HannPower& t, double rate, const SineFit& fit, double variance) {
    const double n = static_cast<double>(fit.rest().size()), bins = n * t.bin_hz / rate;
    const double tone_bins = fit.omega() / kTwoPi * n, noise = 0.375 * n * variance;
    double squares = 0;
    for (std::size_t k = 1; k < t.power.size(); ++k) {
        const double apart = static_cast<double>(k) * bins - tone_bins;
        if (std::abs(apart) < 3.0 || t.power[k] <= noise) continue;
        // A Hann-windowed line's bins hold 1.5 (a N / 4)^2 together.
        squares += (t.power[k] - noise) * bins * 16.0 / 1.5 / (n * n) / (4.0 * std::numbers::pi * std::numbers::pi) /
                   (apart * apart);
    }
    double harmonics = 0;
    constexpr double kAboveNoise = 30.0;
    const double step = std::max(tone_bins, 0.5);  // a fit that ran away to 0 Hz has no harmonics
    for (double place = step * (kHarmonics + 1); place < 0.5 * n; place += step) {
        const auto bin = std::min(static_cast<std::size_t>(std::lround(place / bins)), t.power.size() - 1);
        if (t.power[bin] > kAboveNoise * noise)
            harmonics += 4.0 * std::sqrt(t.power[bin]) / n / (std::numbers::pi * (place - step));
    }
    return std::hypot(std::sqrt(squares), 0.5 * harmonics) / fit.amplitude();
}

double checked_mean(std::span<const double> samples) {
    if (samples.empty()) throw Error(ErrorKind::empty_input, "tone: no samples");
    double sum = 0;
    for (const double x : samples) {
        if (!std::isfinite(x)) throw Error(ErrorKind::not_finite, "tone: a sample is not a finite number");
        sum += x;
    }
    if (samples.size() < 16) throw Error(ErrorKind::too_short, "tone: 16 samples are needed at least");
    const double mean = sum / static_cast<double>(samples.size());
    // Against the first sample, not against the mean: that one's own rounding must not pass for a sound beside a constant.
    const double first = samples.front();
    if (std::all_of(samples.begin(), samples.end(),
                    [first](double x) { return std::abs(x - first) <= 1e-12 * std::abs(first); }))
        throw Error(ErrorKind::invalid_input, "tone: nothing but digital silence or dc");
    return mean;
}

}  // namespace

ToneReading read_tone(std::span<const double> samples, double sample_rate_hz, const ToneSearch& search) {
    const double mean = checked_mean(samples);
    const double n = static_cast<double>(samples.size());
    const double from_hz = search.from_hz.value_or(sample_rate_hz / n);
    const double to_hz = search.to_hz.value_or(0.5 * sample_rate_hz);
    if (!(from_hz >= 0) || !(to_hz > from_hz) || !(from_hz < 0.5 * sample_rate_hz))
        throw Error(ErrorKind::invalid_request,
                    fmt::format("tone: {:g} to {:g} Hz is no range to search in", from_hz, to_hz));

    const auto coarse_hz = place_of_tone_hz(samples, mean, sample_rate_hz, from_hz, to_hz);
    if (!coarse_hz)
        throw Error(ErrorKind::invalid_input,
                    fmt::format("tone: nothing between {:g} and {:g} Hz", from_hz, to_hz));
    if (*coarse_hz * n / sample_rate_hz < 0.9 * kLeastCycles)
        throw Error(ErrorKind::too_short,
                    fmt::format("tone: {:.1f} cycles of {:.4g} Hz are too few, {:g} are needed",
                                *coarse_hz * n / sample_rate_hz, *coarse_hz, kLeastCycles));
    SineFit fit(samples, kTwoPi * *coarse_hz / sample_rate_hz, mean);
    fit.run();
    // Other tones that lean on the fit (hum beside a quiet tone) are fitted to what it left and taken off.
    std::vector<double> cleared;
    HannPower beside = hann_power(fit.rest(), 0.0, sample_rate_hz, 1);
    for (int round = 0; round < 6; ++round) {
        const auto other_hz = disturbing_line_hz(beside, sample_rate_hz, fit);
        if (!other_hz || *other_hz * n / sample_rate_hz < kLeastCycles) break;
        SineFit other(fit.rest(), kTwoPi * *other_hz / sample_rate_hz, 0.0, 1);
        other.run();
        if (cleared.empty()) cleared.assign(samples.begin(), samples.end());
        for (std::size_t i = 0; i < cleared.size(); ++i) cleared[i] -= fit.rest()[i] - other.rest()[i];
        SineFit again(cleared, fit.omega(), mean);
        again.run();
        fit = std::move(again);
        beside = hann_power(fit.rest(), 0.0, sample_rate_hz, 1);
    }

    double squares = 0;
    for (const double r : fit.rest()) squares += r * r;
    const double freedom = std::max(1.0, n - static_cast<double>(fit.unknowns()));
    const double white = squares / freedom;
    ToneReading tone;
    tone.frequency_hz = fit.omega() / kTwoPi * sample_rate_hz;
    tone.amplitude = fit.amplitude();
    tone.phase_rad = fit.phase();
    tone.mean = fit.mean();
    tone.cycles = tone.frequency_hz * n / sample_rate_hz;
    tone.level_dbfs = decibels_from_amplitude(tone.amplitude);
    double cleared_squares = 0;
    for (std::size_t i = 0; i < cleared.size(); ++i)
        cleared_squares += (samples[i] - cleared[i]) * (samples[i] - cleared[i]);
    const double all_else = std::max(white + cleared_squares / n, 1e-300);
    tone.snr_db = decibels_from_power(0.5 * tone.amplitude * tone.amplitude / all_else);

    const double variance = variance_beside(beside, samples.size(), tone.frequency_hz, white);
    const double bend = bend_from_apart(beside, sample_rate_hz, fit, variance);
    // A line apart turns the phase at both ends of the span the other way: 6 / N of its bend as frequency.
    tone.frequency_sd_hz =
        std::hypot(std::sqrt(fit.omega_variance() * variance), 6.0 * bend / n) / kTwoPi * sample_rate_hz;
    tone.amplitude_sd = std::hypot(std::sqrt(fit.amplitude_variance() * variance), bend * tone.amplitude);
    tone.level_sd_db = 20.0 / std::numbers::ln10 * tone.amplitude_sd / tone.amplitude;

    // [RB74] union bound over the bins that were searched.
    const double g = 0.25 * tone.amplitude * tone.amplitude * n / std::max({white, variance, 1e-300});
    const double bins = std::max(1.0, (std::min(to_hz, 0.5 * sample_rate_hz) - from_hz) * n / sample_rate_hz);
    tone.false_tone_probability = std::min(1.0, 0.5 * bins * std::exp(-0.5 * g));
    if (tone.false_tone_probability > 1e-3) {
        // With that probability the tone is anywhere in the range: its mean square distance from this reading.
        const double range_hz = to_hz - from_hz, off_middle_hz = tone.frequency_hz - 0.5 * (from_hz + to_hz);
        const double elsewhere_hz = std::hypot(range_hz / std::sqrt(12.0), off_middle_hz);
        tone.frequency_sd_hz =
            std::hypot(tone.frequency_sd_hz, std::sqrt(tone.false_tone_probability) * elsewhere_hz);
    }
    return tone;
}

}  // namespace hushtrace
