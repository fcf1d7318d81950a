#include "hushtrace/measure/order_spectrum.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

/// Band-limited interpolation between samples: a sine cardinal under a Kaiser window (beta 8), tabulated.
class Interpolator {
public:
    static constexpr int taps = 24, phases = 512;
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
                const double x = (t - (taps / 2 - 1)) - static_cast<double>(p) / phases;
                const double edge = x / (taps / 2);
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
        double sum = 0;
        for (std::size_t t = 0; t < taps; ++t) {
            const std::ptrdiff_t i = start + static_cast<std::ptrdiff_t>(t);
            if (i < 0 || i >= static_cast<std::ptrdiff_t>(samples.size())) continue;
            const double weight =
                table_[p][t] + blend * (table_[std::min<std::size_t>(p + 1, phases)][t] - table_[p][t]);
            sum += weight * samples[static_cast<std::size_t>(i)];
        }
        return sum;
    }

private:
    std::array<std::array<double, taps>, phases + 1> table_;
};

}  // namespace

CycleSamples resample_by_cycles(std::span<const double> samples, double sample_rate_hz, const Track& track) {
    if (track.empty()) throw Error(ErrorKind::invalid_request, "no track to resample by");
    static const Interpolator interpolator;
    const double slowest = *std::min_element(track.frequency_hz.begin(), track.frequency_hz.end());
    if (!(slowest > 0.0)) throw Error(ErrorKind::invalid_request, "a track's frequency must be above 0");
    CycleSamples out;
    out.samples_per_cycle = std::ceil(sample_rate_hz / slowest);
    const double step = 1.0 / out.samples_per_cycle;  // cycles from one new sample to the next
    double phase = 0, target = 0;
    double before = track.at(0.0) / sample_rate_hz;  // cycles per old sample
    for (std::size_t n = 0; n + 1 < samples.size(); ++n) {
        const double after = track.at(static_cast<double>(n + 1) / sample_rate_hz) / sample_rate_hz;
        const double advance = 0.5 * (before + after);
        while (target < phase + advance) {
            out.samples.push_back(
                interpolator.at(samples, static_cast<double>(n) + (target - phase) / advance));
            target += step;
        }
        phase += advance;
        before = after;
    }
    return out;
}

Track refine_track(std::span<const double> samples, double sample_rate_hz, const Track& track,
                   double averaging_s) {
    const CycleSamples cycles = resample_by_cycles(samples, sample_rate_hz, track);
    const double mean_hz = track.mean_hz();
    const auto width =
        static_cast<std::size_t>(std::max(1.0, std::round(averaging_s * mean_hz)) * cycles.samples_per_cycle);
    const std::size_t hop = std::max<std::size_t>(1, width / 3);
    if (cycles.samples.size() < width + 4 * hop) return track;
    // slow phase of the line, over the windows' centres counted in cycles
    std::vector<double> centre, angle;
    double last = 0;
    for (std::size_t at = 0; at + width <= cycles.samples.size(); at += hop) {
        std::complex<double> sum = 0;
        for (std::size_t i = 0; i < width; ++i) {
            const double turns = static_cast<double>(at + i) / cycles.samples_per_cycle;
            const double window =
                0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * (static_cast<double>(i) + 0.5) /
                                     static_cast<double>(width));
            sum += window * cycles.samples[at + i] *
                   std::polar(1.0, -2.0 * std::numbers::pi * std::fmod(turns, 1.0));
        }
        double now = std::arg(sum);
        if (!angle.empty()) now = last + std::remainder(now - last, 2.0 * std::numbers::pi);
        angle.push_back(now);
        centre.push_back((static_cast<double>(at) + 0.5 * static_cast<double>(width)) /
                         cycles.samples_per_cycle);
        last = now;
    }
    // back from cycles to time: the old track's phase is the sum of its frequency
    Track out;
    const double step_s = track.time_s.size() > 1 ? std::min(0.02, track.time_s[1] - track.time_s[0]) : 0.02;
    const double duration_s = static_cast<double>(samples.size()) / sample_rate_hz;
    double phase = 0;
    std::size_t place = 0;
    for (double t = 0; t < duration_s; t += step_s) {
        const double f = track.at(t);
        while (place + 2 < centre.size() && centre[place + 1] < phase) ++place;
        const double slope =
            (angle[place + 1] - angle[place]) / (centre[place + 1] - centre[place]);  // rad per cycle
        out.time_s.push_back(t);
        out.frequency_hz.push_back(f * (1.0 + std::clamp(slope / (2.0 * std::numbers::pi), -0.03, 0.03)));
        phase += 0.5 * (f + track.at(t + step_s)) * step_s;
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
