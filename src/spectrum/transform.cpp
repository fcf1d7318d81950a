#include "hushtrace/spectrum/transform.hpp"

#include <kissfft/kissfft.hh>

#include <cmath>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {

struct RealTransform::State {
    explicit State(std::size_t length)
        : n(length),
          to_bins(length / 2, false),
          to_samples(length / 2, true),
          half(length / 2),
          turned(length / 2) {
        twiddle.resize(length / 4 + 1);
        for (std::size_t k = 0; k < twiddle.size(); ++k)
            twiddle[k] = std::polar(
                1.0, -2.0 * std::acos(-1.0) * static_cast<double>(k) / static_cast<double>(length));
    }
    std::size_t n;
    kissfft<double> to_bins, to_samples;
    std::vector<std::complex<double>> half, turned, twiddle;
};

RealTransform::RealTransform(std::size_t length) {
    if (length < 2 || length % 2 != 0)
        throw Error(ErrorKind::invalid_request, "a real transform needs an even length of 2 or more");
    state_ = std::make_unique<State>(length);
}
RealTransform::~RealTransform() = default;
RealTransform::RealTransform(RealTransform&&) noexcept = default;
RealTransform& RealTransform::operator=(RealTransform&&) noexcept = default;

std::size_t RealTransform::length() const {
    return state_->n;
}

// A real transform of N samples is a complex one of M = N/2: even samples as real parts, odd ones as
// imaginary parts. With E and O the transforms of the even and odd samples, X[k] = E[k] + exp(-2 pi i k/N)
// O[k]; they follow from the packed transform Z by its symmetries: E = (Z[k] + Z*[M-k])/2, O = (Z[k] -
// Z*[M-k])/2i.
void RealTransform::forward(std::span<const double> samples, std::span<std::complex<double>> bins) {
    State& s = *state_;
    const std::size_t m = s.n / 2;
    if (samples.size() != s.n || bins.size() != m + 1)
        throw Error(ErrorKind::invalid_request, "transform: lengths don't match");
    for (std::size_t i = 0; i < m; ++i) s.half[i] = {samples[2 * i], samples[2 * i + 1]};
    s.to_bins.transform(s.half.data(), s.turned.data());
    bins[0] = s.turned[0].real() + s.turned[0].imag();
    bins[m] = s.turned[0].real() - s.turned[0].imag();
    for (std::size_t k = 1; k <= m / 2; ++k) {
        const std::complex<double> a = s.turned[k], b = std::conj(s.turned[m - k]);
        const std::complex<double> even = 0.5 * (a + b);
        const std::complex<double> odd = std::complex<double>(0, -0.5) * (a - b);
        const std::complex<double> rotated = s.twiddle[k] * odd;
        bins[k] = even + rotated;
        bins[m - k] = std::conj(even - rotated);
    }
}

void RealTransform::inverse(std::span<const std::complex<double>> bins, std::span<double> samples) {
    State& s = *state_;
    const std::size_t m = s.n / 2;
    if (samples.size() != s.n || bins.size() != m + 1)
        throw Error(ErrorKind::invalid_request, "transform: lengths don't match");
    s.turned[0] = {0.5 * (bins[0].real() + bins[m].real()), 0.5 * (bins[0].real() - bins[m].real())};
    for (std::size_t k = 1; k <= m / 2; ++k) {
        const std::complex<double> a = bins[k], b = std::conj(bins[m - k]);
        const std::complex<double> even = 0.5 * (a + b);
        const std::complex<double> odd = 0.5 * std::conj(s.twiddle[k]) * (a - b);
        s.turned[k] = even + std::complex<double>(0, 1) * odd;
        s.turned[m - k] = std::conj(even) + std::complex<double>(0, 1) * std::conj(odd);
    }
    s.to_samples.transform(s.turned.data(), s.half.data());
    const double scale = 1.0 / static_cast<double>(m);
    for (std::size_t i = 0; i < m; ++i) {
        samples[2 * i] = scale * s.half[i].real();
        samples[2 * i + 1] = scale * s.half[i].imag();
    }
}

std::size_t fast_length(std::size_t least) {
    std::size_t best = 2;
    while (best < least) best *= 2;
    for (std::size_t fives = 1; fives < best; fives *= 5)
        for (std::size_t odd = fives; odd < best; odd *= 3) {
            std::size_t n = odd * 2;
            while (n < least) n *= 2;
            if (n < best) best = n;
        }
    return best;
}

}  // namespace hushtrace
