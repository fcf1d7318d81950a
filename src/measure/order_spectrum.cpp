#include "hushtrace/measure/order_spectrum.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/wide_vectors.hpp"
#include "turned_back.hpp"

namespace hushtrace {
namespace {

/// Band-limited interpolation between samples: a sine cardinal under a Kaiser window (beta 8), tabulated.
class Interpolator {
public:
    static constexpr int taps = 24, half = taps / 2, phases = 512;
    Interpolator() {
        const auto bessel = [](double x) {
            double sum = 1, term = 1;
            for (int k = 1; k < 40; ++k) {
                term *= (x / (2.0 * k)) * (x / (2.0 * k));
                sum += term;
            }
            return sum;
        };
        constexpr double beta = 8.0;
        for (int p = 0; p <= phases; ++p)
            for (int t = 0; t < taps; ++t) {
                const double x = (t - (half - 1)) - static_cast<double>(p) / phases;
                const double edge = x / half;
                const double sinc = x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
                const double window =
                    std::abs(edge) >= 1.0 ? 0.0 : bessel(beta * std::sqrt(1.0 - edge * edge)) / bessel(beta);
                table_[static_cast<std::size_t>(p)][static_cast<std::size_t>(t)] = sinc * window;
            }
    }
    double at(std::span<const double> samples, double place) const {
        const double whole = std::floor(place);
        const double part = (place - whole) * phases;
        const auto p = static_cast<std::size_t>(part);
        const double blend = part - static_cast<double>(p);
        const auto start = static_cast<std::ptrdiff_t>(whole) - (taps / 2 - 1);
        const auto& low = table_[p];
        const auto& high = table_[std::min<std::size_t>(p + 1, phases)];
        if (start >= 0 && start + taps <= static_cast<std::ptrdiff_t>(samples.size())) {
            double of_low[4] = {}, of_high[4] = {};  // four sums at once
            const double* x = samples.data() + start;
            for (std::size_t t = 0; t < taps; t += 4)
                for (std::size_t lane = 0; lane < 4; ++lane) {
                    of_low[lane] += low[t + lane] * x[t + lane];
                    of_high[lane] += high[t + lane] * x[t + lane];
                }
            const double a = (of_low[0] + of_low[1]) + (of_low[2] + of_low[3]);
            const double b = (of_high[0] + of_high[1]) + (of_high[2] + of_high[3]);
            return a + blend * (b - a);
        }
        double sum = 0;
        for (std::size_t t = 0; t < taps; ++t) {
            const std::ptrdiff_t i = start + static_cast<std::ptrdiff_t>(t);
            if (i < 0 || i >= static_cast<std::ptrdiff_t>(samples.size())) continue;
            sum += (low[t] + blend * (high[t] - low[t])) * samples[static_cast<std::size_t>(i)];
        }
        return sum;
    }

private:
    std::array<std::array<double, taps>, phases + 1> table_{};
};

constexpr double kTrackStep_s = 0.01;

}  // namespace

HUSHTRACE_WIDE_VECTORS
CycleSamples resample_by_cycles(std::span<const double> samples, double sample_rate_hz, const Track& track) {
    if (track.empty()) throw Error(ErrorKind::invalid_request, "no track to resample by");
    static const Interpolator interpolator;
    const double slowest = *std::min_element(track.frequency_hz.begin(), track.frequency_hz.end());
    if (!(slowest > 0.0)) throw Error(ErrorKind::invalid_request, "a track's frequency must be above 0");
    CycleSamples out;
    out.samples_per_cycle = std::ceil(sample_rate_hz / slowest);
    const double step = 1.0 / out.samples_per_cycle;  // cycles from one new sample to the next
    out.samples.reserve(static_cast<std::size_t>(1.02 * static_cast<double>(samples.size()) * track.mean_hz() / slowest) + 16);
    double phase = 0, target = 0;
    double before = track.at(0.0) / sample_rate_hz;  // cycles per old sample
    // within so few samples the frequency runs straight
    constexpr std::size_t stretch = 32;
    for (std::size_t from = 0; from + 1 < samples.size(); from += stretch) {
        const std::size_t to = std::min(from + stretch, samples.size() - 1);
        const double end = track.at(static_cast<double>(to) / sample_rate_hz) / sample_rate_hz;
        const double bend = (end - before) / static_cast<double>(to - from);
        for (std::size_t n = from; n < to; ++n) {
            const double advance = before + bend * (static_cast<double>(n - from) + 0.5), inverse = 1.0 / advance;
            while (target < phase + advance) {
                out.samples.push_back(interpolator.at(samples, static_cast<double>(n) + (target - phase) * inverse));
                target += step;
            }
            phase += advance;
        }
        before = end;
    }
    return out;
}

Track refine_track(std::span<const double> samples, double sample_rate_hz, const Track& track,
                   double averaging_s) {
    constexpr double steps_a_window = 64;
    const auto step = static_cast<std::size_t>(std::max(1.0, averaging_s * sample_rate_hz / steps_a_window));
    const TurnedBack sound = turned_back(samples, sample_rate_hz, track, 1.0, step);
    const auto width = std::max<std::size_t>(3, static_cast<std::size_t>(averaging_s * sound.rate_hz));
    const std::size_t hop = std::max<std::size_t>(1, width / 8);
    if (sound.values.size() < width + 4 * hop) return track;
    std::vector<double> window(width);
    for (std::size_t i = 0; i < width; ++i)
        window[i] = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(width));
    // slow phase of the line, [hop apart]
    std::vector<double> angle;
    for (std::size_t at = 0; at + width <= sound.values.size(); at += hop) {
        std::complex<double> sum = 0;
        for (std::size_t i = 0; i < width; ++i) sum += window[i] * sound.values[at + i];
        const double last = angle.empty() ? 0.0 : angle.back();
        angle.push_back(angle.empty() ? std::arg(sum) : last + std::remainder(std::arg(sum) - last, 2.0 * std::numbers::pi));
    }
    const double apart_s = static_cast<double>(hop) / sound.rate_hz;
    const double first_s = (1.0 + 0.5 * (static_cast<double>(width) - 1.0)) / sound.rate_hz;
    Track out;
    const double step_s = track.time_s.size() > 1 ? std::min(kTrackStep_s, track.time_s[1] - track.time_s[0]) : kTrackStep_s;
    const double duration_s = static_cast<double>(samples.size()) / sample_rate_hz;
    for (double t = 0; t < duration_s; t += step_s) {
        // the phase's slope halfway between windows, and straight from there to the next
        const double f = track.at(t), place = std::clamp((t - first_s) / apart_s - 0.5, 0.0, static_cast<double>(angle.size() - 2));
        const auto i = static_cast<std::size_t>(place), next = std::min(i + 1, angle.size() - 2);
        const double slope = std::lerp(angle[i + 1] - angle[i], angle[next + 1] - angle[next], place - static_cast<double>(i));
        const double astray_hz = slope / (2.0 * std::numbers::pi * apart_s);
        out.time_s.push_back(t);
        out.frequency_hz.push_back(f + std::clamp(astray_hz, -0.03 * f, 0.03 * f));
    }
    return out;
}

PowerSpectrum order_spectrum(const CycleSamples& resampled, double mean_hz, double resolution_s) {
    const double wanted = std::min(resolution_s * mean_hz * resampled.samples_per_cycle,
                                   0.5 * static_cast<double>(resampled.samples.size()));
    const auto length = fast_length(static_cast<std::size_t>(std::max(16.0, wanted)));
    SpectrumAccumulator spectrum(resampled.samples_per_cycle, length, WindowKind::hann, 0.5);
    spectrum.add(resampled.samples);
    return spectrum.result();
}

}  // namespace hushtrace
