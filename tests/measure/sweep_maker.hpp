#pragma once
#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

/// Captures of sweeps drawn from the closed form (Farina 2000) at the capture's own instants: a clock that is off and a
/// start between two samples cost nothing, and no resampler has a part in the result. Shares nothing with the code
/// under test.
namespace sweep_maker {

using std::numbers::pi;

struct Capture {
    double rate_hz = 48000, from_hz = 20, to_hz = 20000, duration_s = 5, level_dbfs = -20, ramp_s = 0.01;
    double start_s = 1.2345678, ppm = 0, tail_s = 1.2;
    /// The wave at a phase: a static curve's harmonics, each left out where it lies above the rate's half.
    std::vector<double> harmonics = {1.0};  // amplitude of the n-th harmonic at amplitude 1 of the tone

    double amplitude() const { return std::pow(10.0, level_dbfs / 20); }
    double constant_s() const { return duration_s / std::log(to_hz / from_hz); }
    double end_s() const { return start_s + duration_s * (1 + 1e-6 * ppm); }

    std::vector<double> samples(double extra_delay_s = 0) const {
        std::vector<double> out(static_cast<std::size_t>((end_s() + tail_s) * rate_hz), 0.0);
        for (std::size_t i = 0; i < out.size(); ++i) {
            const double t = (static_cast<double>(i) / rate_hz - start_s - extra_delay_s) / (1 + 1e-6 * ppm);
            if (t < 0 || t >= duration_s) continue;
            const double edge = std::min({1.0, t / ramp_s, (duration_s - t) / ramp_s});
            const double gain = amplitude() * 0.5 * (1 - std::cos(pi * edge));
            const double cycles = from_hz * constant_s() * std::expm1(t / constant_s());
            const double hz = from_hz * std::exp(t / constant_s());
            for (std::size_t n = 1; n <= harmonics.size(); ++n) {
                const double order = static_cast<double>(n);
                if (order * hz > 0.49 * rate_hz) break;
                out[i] += gain * harmonics[n - 1] * std::sin(2 * pi * order * (cycles - std::floor(cycles)));
            }
        }
        return out;
    }
};

inline void add_noise(std::vector<double>& to, double rms, std::uint64_t seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0.0, rms);
    for (double& x : to) x += normal(engine);
}

/// A digital section b/a (a[0] = 1) as SciPy names them.
struct Section {
    std::array<double, 3> b, a;
    void filter(std::vector<double>& samples) const {
        double s1 = 0, s2 = 0;
        for (double& x : samples) {
            const double y = b[0] * x + s1;
            s1 = b[1] * x - a[1] * y + s2;
            s2 = b[2] * x - a[2] * y;
            x = y;
        }
    }
    std::complex<double> at(double frequency_hz, double rate_hz) const {
        const auto z = std::polar(1.0, -2 * pi * frequency_hz / rate_hz);
        return (b[0] + z * (b[1] + z * b[2])) / (1.0 + z * (a[1] + z * a[2]));
    }
};
inline void filter(std::vector<double>& samples, const std::vector<Section>& sections) {
    for (const Section& one : sections) one.filter(samples);
}
inline std::complex<double> response(const std::vector<Section>& sections, double frequency_hz, double rate_hz) {
    std::complex<double> out = 1;
    for (const Section& one : sections) out *= one.at(frequency_hz, rate_hz);
    return out;
}

/// Bilinear second-order sections with their corner prewarped; q 0.7071 is a Butterworth of order 2.
inline Section low_pass(double corner_hz, double rate_hz, double q = std::numbers::sqrt2 / 2) {
    const double k = std::tan(pi * corner_hz / rate_hz), norm = 1 / (1 + k / q + k * k);
    return {{k * k * norm, 2 * k * k * norm, k * k * norm}, {1, 2 * (k * k - 1) * norm, (1 - k / q + k * k) * norm}};
}
/// A first-order high-pass (a coupling capacitor), bilinear.
inline Section high_pass_rc(double corner_hz, double rate_hz) {
    const double k = std::tan(pi * corner_hz / rate_hz);
    return {{1 / (1 + k), -1 / (1 + k), 0}, {1, (k - 1) / (k + 1), 0}};
}

}  // namespace sweep_maker
