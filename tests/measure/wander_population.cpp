#include "measure/wander_population.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "hushtrace/measure/order_spectrum.hpp"

using namespace hushtrace;

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

/// Gaussian, below 1 Hz, [0.02 s] apart, rms 1.
std::vector<double> slow_noise(double duration_s, bool red, std::mt19937_64& random) {
    std::normal_distribution<double> normal;
    std::vector<double> out(static_cast<std::size_t>(duration_s * 50.0) + 2, 0.0);
    for (double k = 1; k <= duration_s; ++k) {
        const double size = red ? 1.0 / std::sqrt(k) : 1.0, a = size * normal(random), b = size * normal(random);
        for (std::size_t i = 0; i < out.size(); ++i) {
            const double turns = k / duration_s * 0.02 * static_cast<double>(i);
            out[i] += a * std::cos(kTurn * turns) + b * std::sin(kTurn * turns);
        }
    }
    double square = 0;
    for (const double v : out) square += v * v;
    for (double& v : out) v /= std::sqrt(square / static_cast<double>(out.size()));
    return out;
}

double between(const std::vector<double>& values, double place) {
    const auto i = static_cast<std::size_t>(place);
    return values[i] + (place - static_cast<double>(i)) * (values[i + 1] - values[i]);
}

/// Colours white noise; its density at 1 kHz stays what it was, about.
void colour(std::vector<double>& x, NoiseColour colour, double rate_hz) {
    if (colour == NoiseColour::pink) {  // three poles and zeros, within 0.5 dB of 3 dB an octave from 40 Hz up
        double a = 0, b = 0, c = 0;
        for (double& v : x) {
            a = 0.99765 * a + v * 0.0990460;
            b = 0.96300 * b + v * 0.2965164;
            c = 0.57000 * c + v * 1.0526913;
            v = 0.42 * (a + b + c + v * 0.1848);
        }
    } else if (colour == NoiseColour::bumpy) {
        const double radius = std::exp(-kTurn * 40.0 / rate_hz), turn = kTurn * 900.0 / rate_hz;
        const double keep = std::exp(-kTurn * 3000.0 / rate_hz);
        double y1 = 0, y2 = 0, low = 0;
        for (double& v : x) {
            const double y = v + 2.0 * radius * std::cos(turn) * y1 - radius * radius * y2;
            y2 = y1;
            y1 = y;
            low = keep * low + (1.0 - keep) * (v + 0.05 * y);
            v = 2.0 * low;
        }
    }
}

}  // namespace

WanderTake wander_take(const WanderLaw& law, std::uint64_t seed) {
    std::mt19937_64 random(seed * 7919 + 13);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> even;
    WanderTake take;
    take.rate_hz = law.rate_hz;
    const auto count = static_cast<std::size_t>(law.duration_s * law.rate_hz);
    const auto wander = slow_noise(law.duration_s, law.red, random), error = slow_noise(law.duration_s, law.red, random);
    take.mean_hz = 700.0 * std::exp(even(random) * std::log(4000.0 / 700.0));
    take.samples.resize(count);
    for (double& v : take.samples) v = normal(random);
    colour(take.samples, law.colour, law.rate_hz);
    const double noise_20k = 2.0 / law.rate_hz * 19980.0;  // that white noise as dense has up to 20 kHz
    const double amplitude = law.whine_to_noise_db < -200 ? 0.0 : std::sqrt(2.0 * noise_20k * std::pow(10.0, law.whine_to_noise_db / 10.0));
    double phase = kTurn * even(random);
    take.frequency_hz.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
        const double f = take.mean_hz * (1.0 + law.wander * between(wander, static_cast<double>(i) / law.rate_hz * 50.0));
        take.frequency_hz[i] = f;
        phase += kTurn * f / law.rate_hz;
        take.samples[i] += amplitude * std::sin(phase);
    }
    const double order = 6.0 * std::exp(even(random) * std::log(3.0)), wrong = 1.0 + 0.02 * (even(random) - 0.5);
    for (double t = 0; t < law.duration_s; t += 0.1) {
        const double f = take.mean_hz * (1.0 + law.wander * between(wander, t * 50.0));
        take.speed.time_s.push_back(t);
        take.speed.frequency_hz.push_back(60.0 * f / order * wrong * (1.0 + law.log_error * between(error, t * 50.0)));
    }
    return take;
}

double power_along_true_track(const WanderTake& take, double window_s) {
    const auto length = static_cast<std::size_t>(window_s * take.rate_hz), hop = length / 2;
    std::vector<double> window(length);
    for (std::size_t k = 0; k < length; ++k)
        window[k] = 0.5 - 0.5 * std::cos(kTurn * static_cast<double>(k) / static_cast<double>(length));
    double sum = 0, count = 0;
    for (std::size_t at = 0; at + length <= take.samples.size(); at += hop, ++count) {
        const double turn = kTurn * take.frequency_hz[at + hop] / take.rate_hz, twice = 2.0 * std::cos(turn);
        double one = 0, two = 0;  // Goertzel's recursion
        for (std::size_t k = 0; k < length; ++k) {
            const double now = take.samples[at + k] * window[k] + twice * one - two;
            two = one;
            one = now;
        }
        sum += one * one + two * two - twice * one * two;
    }
    return sum / std::max(count, 1.0);
}

double evidence_with_log(const WanderTake& take) {
    Track scaled = take.speed;  // so that the sound keeps its pace on the whole
    const double mean = scaled.mean_hz();
    for (double& f : scaled.frequency_hz) f *= 1000.0 / mean;
    const CycleSamples even = resample_by_cycles(take.samples, take.rate_hz, scaled);
    RidgeSearch search;
    search.from_hz = 200;
    search.steady = true;
    return line_log_evidence(even.samples, 1000.0 * even.samples_per_cycle, search);
}
