#pragma once
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

/// A tone that met something non-linear and then an analogue path, for tests: made harmonic by harmonic from a dense
/// period, so that nothing folds. It shares nothing with the code under test.
namespace clipped_tone {

constexpr double kPi = std::numbers::pi;
using Law = std::function<double(double)>;

inline Law hard(double upper, double lower) {
    return [=](double x) { return std::min(upper, std::max(-lower, x)); };
}
inline Law hard(double rail) { return hard(rail, rail); }
inline Law soft(double rail) {
    return [=](double x) { return rail * std::tanh(x / rail); };
}
/// A rail with a corner rounded by a parabola over +-width of its height.
inline Law rounded(double rail, double width) {
    return [=](double x) {
        const double size = std::abs(x) / rail, over = size - 1 + width;
        const double y = size <= 1 - width ? size : size >= 1 + width ? 1.0 : size - over * over / (4 * width);
        return std::copysign(rail * y, x);
    };
}

struct Setup {
    double rate = 48000, tone_hz = 997, amplitude = 0.5, phase = 0.3, seconds = 1.0;
    Law law = [](double x) { return x; };
    double slew_per_s = 0;                       ///< 0 for none
    double gain = 1.0, coupling_hz = 0, second_coupling_hz = 0, low_pass_hz = 0;
    double noise_rms = 0;
    bool capture_24_bit = true;
    unsigned seed = 1;
};

inline std::vector<double> period(const Setup& s, std::size_t points) {
    std::vector<double> wave(points);
    const double step = 2 * kPi / static_cast<double>(points);
    if (s.slew_per_s <= 0) {
        for (std::size_t n = 0; n < points; ++n) wave[n] = s.law(s.amplitude * std::sin(step * static_cast<double>(n)));
        return wave;
    }
    const double most = s.slew_per_s / (s.tone_hz * static_cast<double>(points));
    double y = 0;
    for (std::size_t n = 0; n < 5 * points; ++n) {
        const double wanted = s.amplitude * std::sin(step * static_cast<double>(n % points));
        y += std::min(most, std::max(-most, wanted - y));
        wave[n % points] = y;
    }
    return wave;
}

inline std::vector<double> render(const Setup& s) {
    constexpr std::size_t kPoints = 1 << 14;
    const std::vector<double> wave = period(s, kPoints);
    static const std::vector<std::complex<double>> turns = [] {
        std::vector<std::complex<double>> table(kPoints);
        for (std::size_t n = 0; n < kPoints; ++n)
            table[n] = std::polar(2.0 / kPoints, -2 * kPi * static_cast<double>(n) / kPoints);
        return table;
    }();
    const auto frames = static_cast<std::size_t>(s.seconds * s.rate);
    std::vector<double> out(frames, 0.0);
    for (std::size_t k = 1; static_cast<double>(k) * s.tone_hz < 0.49 * s.rate && k <= 120; ++k) {
        std::complex<double> c = 0;
        for (std::size_t n = 0; n < kPoints; ++n)
            c += wave[n] * turns[k * n % kPoints];
        const double f = static_cast<double>(k) * s.tone_hz;
        for (const double corner : {s.coupling_hz, s.second_coupling_hz})
            if (corner > 0) c /= std::complex<double>(1, -corner / f);
        if (s.low_pass_hz > 0) c /= std::complex<double>(1, f / s.low_pass_hz);
        c *= s.gain * std::polar(1.0, static_cast<double>(k) * s.phase);
        const std::complex<double> turn = std::polar(1.0, 2 * kPi * f / s.rate);
        std::complex<double> at = c;
        for (std::size_t n = 0; n < frames; ++n, at *= turn) out[n] += at.real();
    }
    std::mt19937_64 engine(s.seed);
    std::normal_distribution<double> normal(0.0, 1.0);
    for (double& x : out) {
        if (s.noise_rms > 0) x += s.noise_rms * normal(engine);
        if (s.capture_24_bit) x = std::round(x * 8388608.0) / 8388608.0;
    }
    return out;
}

}  // namespace clipped_tone
