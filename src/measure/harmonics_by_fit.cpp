#include <cmath>
#include <numbers>

#include "cholesky.hpp"
#include "harmonic_powers.hpp"
#include "hushtrace/signal/error.hpp"
#include "phasor.hpp"

namespace hushtrace {
namespace {

void factor_or_refuse(Matrix& m) {
    if (!factor(m, 1e-9))
        throw Error(ErrorKind::too_short, "distortion: too few cycles to tell the harmonics apart");
}

/// Sum of cos(theta m) over the span, m counted from its middle (Dirichlet's kernel).
double dirichlet(double theta, double count) {
    const double half = std::sin(0.5 * theta);
    return std::abs(half) < 1e-12 ? count : std::sin(0.5 * count * theta) / half;
}

}  // namespace

// With the time counted from the middle, cosines and sines are orthogonal: two systems, one of dc and the
// cosines of multiples 1.., one of the sines. Multiple 1 is fitted again, so that nothing of it is shared out
// to its neighbours.
HarmonicPowers harmonics_by_fit(const HarmonicTask& task) {
    const std::size_t multiples = task.count + 1, samples = task.rest.size();
    const double count = static_cast<double>(samples), half = 0.5 * (count - 1.0);
    const double omega = 2.0 * std::numbers::pi * task.tone_hz / task.sample_rate_hz;
    Matrix cosines(multiples + 1), sines(multiples);
    for (std::size_t i = 0; i <= multiples; ++i)
        for (std::size_t j = 0; j <= multiples; ++j) {
            const double difference = omega * (static_cast<double>(i) - static_cast<double>(j));
            const double sum = omega * static_cast<double>(i + j);
            cosines.at(i, j) = 0.5 * (dirichlet(difference, count) + dirichlet(sum, count));
            if (i > 0 && j > 0)
                sines.at(i - 1, j - 1) = 0.5 * (dirichlet(difference, count) - dirichlet(sum, count));
        }
    std::vector<double> c_right(multiples + 1), s_right(multiples);
    for (const double x : task.rest) c_right[0] += x;
    for (std::size_t k = 1; k <= multiples; ++k) {
        const double w = omega * static_cast<double>(k);
        for_each_phasor(samples, w, -w * half, [&](std::size_t n, double c, double s) {
            c_right[k] += c * task.rest[n];
            s_right[k - 1] += s * task.rest[n];
        });
    }
    factor_or_refuse(cosines);
    factor_or_refuse(sines);
    const std::vector<double> a = solve(cosines, c_right), b = solve(sines, s_right);

    std::vector<double> left(task.rest.begin(), task.rest.end());
    for (double& x : left) x -= a[0];
    for (std::size_t k = 1; k <= multiples; ++k) {
        const double w = omega * static_cast<double>(k);
        for_each_phasor(samples, w, -w * half,
                        [&](std::size_t n, double c, double s) { left[n] -= a[k] * c + b[k - 1] * s; });
    }
    double squares = 0;
    for (const double x : left) squares += x * x;
    const double freedom = count - static_cast<double>(2 * multiples + 1);
    const double variance = squares / freedom;

    HarmonicPowers out;
    double harmonics = 0;
    for (std::size_t k = 2; k <= multiples; ++k) {
        std::vector<double> unit(multiples + 1, 0.0);
        unit[k] = 1.0;
        const double c_variance = variance * solve(cosines, unit)[k];
        unit.assign(multiples, 0.0);
        unit[k - 1] = 1.0;
        const double s_variance = variance * solve(sines, unit)[k - 1];
        const double noise = 0.5 * (c_variance + s_variance);
        out.with_noise.push_back(0.5 * (a[k] * a[k] + b[k - 1] * b[k - 1]));
        out.noise.push_back(noise);
        out.noise_sd.push_back(noise * std::sqrt(2.0 / freedom));
        harmonics += std::max(0.0, out.with_noise.back() - noise);
    }
    const double band_hz =
        std::max(0.0, std::min(task.highest_hz, 0.5 * task.sample_rate_hz) - task.lowest_hz);
    const double noise_in_band = variance * band_hz / (0.5 * task.sample_rate_hz);
    out.rest_in_band = harmonics + noise_in_band;
    // A harmonic of power P under noise of variance v a sample is read with the variance 4 P v / N.
    out.rest_sd = std::sqrt(noise_in_band * noise_in_band * 2.0 / freedom + 4.0 * harmonics * variance / count);
    return out;
}

}  // namespace hushtrace
