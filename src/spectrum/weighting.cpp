#include "hushtrace/spectrum/weighting.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/wide_vectors.hpp"

// [IEC] IEC 61672-1:2013 annex E. [ITU] ITU-R BS.468-4 (1986) figure 1a. [Kaiser] Kaiser 1974, "Nonrecursive digital
// filter design using the I0-sinh window function", Proc. IEEE Int. Symp. Circuits and Systems.
namespace hushtrace {
namespace {

constexpr double f1 = 20.598997, f2 = 107.65265, f3 = 737.86223, f4 = 12194.217;  // [IEC]

double c_bare(double f) {  // [IEC] squared magnitude
    const double s = f * f;
    const double gain = f4 * f4 * s / ((s + f1 * f1) * (s + f4 * f4));
    return gain * gain;
}

double a_bare(double f) {  // [IEC] squared magnitude: the C curve and two more first-order high passes
    const double s = f * f;
    return c_bare(f) * s * s / ((s + f2 * f2) * (s + f3 * f3));
}

double itu_bare(double f) {  // [ITU] squared magnitude
    const double s = f * f;
    const double h1 =
        ((-4.737338981378384e-24 * s + 2.043828333606125e-15) * s - 1.363894795463638e-7) * s + 1.0;
    const double h2 = ((1.306612257412824e-19 * s - 2.118150887518656e-11) * s + 5.559488023498642e-4) * f;
    const double r = 1.246332637532143e-4 * f / std::hypot(h1, h2);
    return r * r;
}

using Complex = std::complex<double>;

/// The network's poles [Hz], upper half: roots of h1 + i h2 [ITU]; the zero lies at dc.
constexpr std::array<double, 2> kRealPoles = {-4122.7021, -9975.0631};
const std::array<Complex, 2> kPolePairs = {Complex(-3758.5292, 5790.0423), Complex(-2983.1599, 9940.8426)};

std::array<Complex, 6> all_poles() {
    return {kRealPoles[0],
            kRealPoles[1],
            kPolePairs[0],
            std::conj(kPolePairs[0]),
            kPolePairs[1],
            std::conj(kPolePairs[1])};
}

/// Residue of s / prod(s - p) at pole i, in units of 10 kHz so that the numbers stay near 1.
Complex residue(std::size_t i) {
    const auto poles = all_poles();
    Complex r = poles[i] / 1e4;
    for (std::size_t j = 0; j < poles.size(); ++j)
        if (j != i) r *= 1e4 / (poles[i] - poles[j]);
    return r;
}

double bessel_i0(double x) {
    double term = 1.0, sum = 1.0;
    for (int k = 1; k < 60; ++k) {
        term *= (0.5 * x / k) * (0.5 * x / k);
        sum += term;
    }
    return sum;
}

constexpr std::size_t kReach = 12;           // samples of the take on either side of an interpolated one
constexpr std::size_t kTaps = 2 * kReach;    // of each phase
constexpr double kLeastRate_hz = 170000.0;   // at which the poles can be taken over as they are
constexpr std::size_t kChunk = 256;

/// [M][kTaps] phases of a Kaiser-windowed sinc; it passes up to 20 kHz or 0.45 of the rate, and stops what mirrors it.
std::vector<std::array<double, kTaps>> interpolation(double rate_hz, std::size_t factor) {
    const double pass = std::min(20000.0 / rate_hz, 0.45);
    const double width = 2.0 * std::numbers::pi * (1.0 - 2.0 * pass);  // of the transition, in radians a sample
    const double attenuation_db = std::min(8.0 + 2.285 * width * kTaps, 90.0);  // [Kaiser]
    const double beta = attenuation_db > 50.0
                            ? 0.1102 * (attenuation_db - 8.7)
                            : 0.5842 * std::pow(attenuation_db - 21.0, 0.4) + 0.07886 * (attenuation_db - 21.0);
    std::vector<std::array<double, kTaps>> phases(factor);
    for (std::size_t p = 0; p < factor; ++p) {
        double sum = 0;
        for (std::size_t j = 0; j < kTaps; ++j) {
            // distance of the wanted moment from sample j of the stretch
            const double x = static_cast<double>(kReach) - 1.0 - static_cast<double>(j) +
                             static_cast<double>(p) / static_cast<double>(factor);
            const double part = x / static_cast<double>(kReach);
            const double window = bessel_i0(beta * std::sqrt(std::max(0.0, 1.0 - part * part)));
            const double angle = std::numbers::pi * x;
            phases[p][j] = window * (std::abs(x) < 1e-9 ? 1.0 : std::sin(angle) / angle);
            sum += phases[p][j];
        }
        for (double& tap : phases[p]) tap /= sum;
    }
    return phases;
}

/// sums [kChunk]: each of as many taps' products with the samples from its own place on.
HUSHTRACE_WIDE_VECTORS void convolve(const double* samples, const double* taps, double* sums) {
    constexpr std::size_t at_once = 16;  // few enough for the processor's registers
    for (std::size_t n = 0; n < kChunk; n += at_once) {
        double sum[at_once] = {};
        for (std::size_t j = 0; j < kTaps; ++j)
            for (std::size_t i = 0; i < at_once; ++i) sum[i] += taps[j] * samples[n + j + i];
        for (std::size_t i = 0; i < at_once; ++i) sums[n + i] = sum[i];
    }
}

}  // namespace

double a_weighting_power(double frequency_hz) {
    static const double at_1khz = a_bare(1000.0);
    return a_bare(frequency_hz) / at_1khz;
}
double c_weighting_power(double frequency_hz) {
    static const double at_1khz = c_bare(1000.0);
    return c_bare(frequency_hz) / at_1khz;
}
double itu468_weighting_power(double frequency_hz) {
    static const double at_1khz = itu_bare(1000.0);
    return itu_bare(frequency_hz) / at_1khz;
}

// Each pole is a recursion of its own, y[n] = e^(p/R) y[n-1] + x[n]; the residues add them up. Of a pair only the upper
// pole is kept: its twin's share is the conjugate, so that the real part counts twice.
struct Itu468Filter::State {
    explicit State(double rate_hz)
        : factor(static_cast<std::size_t>(std::max(1.0, std::ceil(kLeastRate_hz / rate_hz)))) {
        const double dense_hz = rate_hz * static_cast<double>(factor);
        const auto step = [dense_hz](Complex pole_hz) {
            return std::exp(2.0 * std::numbers::pi * pole_hz / dense_hz);
        };
        for (std::size_t i = 0; i < 2; ++i) {
            real_step[i] = step(kRealPoles[i]).real();
            real_share[i] = residue(i).real();
            pair_step[i] = step(kPolePairs[i]);
            pair_share[i] = 2.0 * residue(2 + 2 * i);
        }
        // 0 dB at 1 kHz, of the recursions themselves
        const Complex z = std::polar(1.0, -2.0 * std::numbers::pi * 1000.0 / dense_hz);
        Complex sum = 0;
        for (std::size_t i = 0; i < 6; ++i) sum += residue(i) / (1.0 - step(all_poles()[i]) * z);
        for (std::size_t i = 0; i < 2; ++i) {
            real_share[i] /= std::abs(sum);
            pair_share[i] /= std::abs(sum);
        }
        if (factor > 1) phases = interpolation(rate_hz, factor);
    }

    /// dense [frames * factor], the take's samples with the interpolated ones between them
    void interpolate(std::span<const double> samples) {
        std::copy(samples.begin(), samples.end(), stretch.begin() + kTaps - 1);
        const std::size_t count = samples.size();
        for (std::size_t n = 0; n < count; ++n) dense[n * factor] = stretch[n + kReach - 1];  // the samples themselves
        for (std::size_t p = 1; p < factor; ++p) {
            std::array<double, kChunk> sum;  // NOLINT(cppcoreguidelines-pro-type-member-init): convolve writes all of it
            convolve(stretch.data(), phases[p].data(), sum.data());
            for (std::size_t n = 0; n < count; ++n) dense[n * factor + p] = sum[n];
        }
        std::copy_n(stretch.begin() + static_cast<std::ptrdiff_t>(count), kTaps - 1, stretch.begin());
    }

    void weigh(const double* x, double* out, std::size_t count) {
        double a = real_state[0], b = real_state[1];
        double cr = pair_state[0].real(), ci = pair_state[0].imag();
        double dr = pair_state[1].real(), di = pair_state[1].imag();
        const double cpr = pair_step[0].real(), cpi = pair_step[0].imag();
        const double dpr = pair_step[1].real(), dpi = pair_step[1].imag();
        const double csr = pair_share[0].real(), csi = pair_share[0].imag();
        const double dsr = pair_share[1].real(), dsi = pair_share[1].imag();
        for (std::size_t n = 0; n < count; ++n) {
            a = real_step[0] * a + x[n];
            b = real_step[1] * b + x[n];
            const double ct = cpr * cr - cpi * ci + x[n], dt = dpr * dr - dpi * di + x[n];
            ci = cpr * ci + cpi * cr;
            di = dpr * di + dpi * dr;
            cr = ct;
            dr = dt;
            out[n] = real_share[0] * a + real_share[1] * b + (csr * cr - csi * ci) + (dsr * dr - dsi * di);
        }
        real_state = {a, b};
        pair_state = {Complex(cr, ci), Complex(dr, di)};
        // in digital silence what is left would crawl through the denormal numbers, which are slow
        if (std::abs(a) + std::abs(b) + std::abs(cr) + std::abs(ci) + std::abs(dr) + std::abs(di) < 1e-200) {
            real_state = {};
            pair_state = {};
        }
    }

    std::size_t factor;
    std::array<double, 2> real_step{}, real_share{}, real_state{};
    std::array<Complex, 2> pair_step{}, pair_share{}, pair_state{};
    std::vector<std::array<double, kTaps>> phases;
    std::array<double, kChunk + kTaps> stretch{};
    std::vector<double> dense;
};

Itu468Filter::Itu468Filter(double sample_rate_hz) {
    if (!(sample_rate_hz > 0.0) || !std::isfinite(sample_rate_hz))
        throw Error(ErrorKind::invalid_request, "the sample rate must be above 0");
    state_ = std::make_unique<State>(sample_rate_hz);
}
Itu468Filter::~Itu468Filter() = default;
Itu468Filter::Itu468Filter(Itu468Filter&&) noexcept = default;
Itu468Filter& Itu468Filter::operator=(Itu468Filter&&) noexcept = default;

std::size_t Itu468Filter::oversampling() const {
    return state_->factor;
}

void Itu468Filter::filter(std::span<const double> samples, std::vector<double>& weighted) {
    State& s = *state_;
    weighted.resize(samples.size() * s.factor);
    s.dense.resize(kChunk * s.factor);
    for (std::size_t at = 0; at < samples.size(); at += kChunk) {
        const auto part = samples.subspan(at, std::min(kChunk, samples.size() - at));
        const double* x = part.data();
        if (s.factor > 1) {
            s.interpolate(part);
            x = s.dense.data();
        }
        s.weigh(x, weighted.data() + at * s.factor, part.size() * s.factor);
    }
}

}  // namespace hushtrace
