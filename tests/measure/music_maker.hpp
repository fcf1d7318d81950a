#pragma once
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

/// Something like music, from a seed, and the way it takes into a capture: a rail, couplings, a band limit, noise, 24 bits.
namespace music_maker {

constexpr double kPi = std::numbers::pi;
constexpr std::size_t kOver = 4;

/// Plucked notes with six partials, a bass line and drums, at `kOver` times 48 kHz; the highest magnitude is 1.
inline std::vector<double> music(double seconds, unsigned seed) {
    const double rate = 48000.0 * kOver;
    std::mt19937_64 engine(seed);
    const auto between = [&](double low, double high) { return std::uniform_real_distribution<double>(low, high)(engine); };
    std::normal_distribution<double> normal;
    std::vector<double> out(static_cast<std::size_t>(seconds * rate));
    const auto rise = [](double x) { return x >= 1 ? 1.0 : 0.5 - 0.5 * std::cos(kPi * std::max(0.0, x)); };
    const auto note = [&](double from_s, double f0, double size, double decay_s, int partials) {
        for (int k = 1; k <= partials; ++k) {
            double phase = between(0, 2 * kPi), amplitude = size / k;
            const double step = 2 * kPi * f0 * k * (1 + 2e-4 * k * k) / rate, fall = std::exp(-k / (decay_s * rate));
            double re = std::cos(phase), im = std::sin(phase);
            const double c = std::cos(step), s = std::sin(step);
            for (auto n = static_cast<std::size_t>(from_s * rate); n < out.size() && amplitude > 1e-5; ++n) {
                const double attack = rise((static_cast<double>(n) / rate - from_s) / 0.008);
                out[n] += attack * amplitude * im;
                const double next = re * c - im * s;
                im = re * s + im * c;
                re = next;
                amplitude *= fall;
            }
        }
    };
    for (double at = 0.0; at < seconds; at += between(0.1, 0.3)) {
        // drawn one by one: in which order a call's arguments are worked out is the compiler's choice
        const double decay_s = between(0.1, 0.5), plucked = between(0.05, 0.3);
        note(at, 110.0 * std::pow(2.0, std::floor(between(0, 36)) / 12.0), plucked, decay_s, 6);
        if (between(0, 1) < 0.5) {
            const double bass = between(0.2, 0.5);
            note(at, between(45, 90), bass, 0.3, 2);
        }
        if (between(0, 1) < 0.4) {
            double low = 0, size = between(0.1, 0.5);
            for (auto n = static_cast<std::size_t>(at * rate); n < out.size() && size > 1e-4; ++n) {
                low += 0.12 * (normal(engine) * size - low);
                out[n] += 3.0 * low * rise((static_cast<double>(n) / rate - at) / 0.005);
                size *= std::exp(-1 / (0.03 * rate));
            }
        }
    }
    double hiss = 0;
    for (double& x : out) {  // of the recording, up to 10 kHz or so
        hiss += 0.3 * (normal(engine) - hiss);
        x += 2e-4 * hiss;
    }
    double most = 0;
    for (const double x : out) most = std::max(most, std::abs(x));
    for (double& x : out) x /= most;
    return out;
}

struct Way {
    double upper = 10, lower = 10;  ///< rails; the music peaks at 1
    double gain = 0.4, coupling_hz = 5, second_coupling_hz = 1, noise = 1e-5;
    unsigned seed = 1;
};

/// What arrives at 48 kHz.
inline std::vector<double> captured(std::vector<double> x, const Way& way) {
    for (double& v : x) v = std::clamp(v, -way.lower, way.upper);
    for (const double corner : {way.coupling_hz, way.second_coupling_hz}) {
        const double k = std::exp(-2 * kPi * corner / (48000.0 * kOver));
        double before = 0, y = 0;
        for (double& v : x) {
            y = k * y + 0.5 * (1 + k) * (v - before);
            before = v;
            v = y;
        }
    }
    constexpr int kHalf = 24 * static_cast<int>(kOver);
    std::vector<double> taps;
    for (int n = -kHalf; n <= kHalf; ++n) {
        const double t = 0.92 * n / static_cast<double>(kOver), w = std::cos(0.5 * kPi * n / (kHalf + 1.0));
        taps.push_back(0.92 / static_cast<double>(kOver) * (n == 0 ? 1.0 : std::sin(kPi * t) / (kPi * t)) * w * w);
    }
    std::mt19937_64 engine(way.seed);
    std::normal_distribution<double> normal;
    std::vector<double> out;
    for (std::size_t n = kHalf; n + kHalf < x.size(); n += kOver) {
        double sum = 0;
        for (std::size_t j = 0; j < taps.size(); ++j) sum += taps[j] * x[n - kHalf + j];
        out.push_back(std::round((way.gain * (sum + way.noise * normal(engine))) * 8388608.0) / 8388608.0);
    }
    return out;
}

}  // namespace music_maker
