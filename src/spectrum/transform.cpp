#include "hushtrace/spectrum/transform.hpp"

#include <cmath>

#include "complex_transform.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/wide_vectors.hpp"

namespace hushtrace {
namespace {

HUSHTRACE_WIDE_VECTORS void put_together(const double* even, const double* odd, double scale, double* pairs, std::size_t count) {
    HUSHTRACE_APART
    for (std::size_t i = 0; i < count; ++i) {
        pairs[2 * i] = scale * even[i];
        pairs[2 * i + 1] = scale * odd[i];
    }
}

}  // namespace

struct RealTransform::State {
    explicit State(std::size_t length) : n(length), half(length / 2), twiddle(length / 4 + 1) {
        for (std::size_t k = 0; k < twiddle.size(); ++k)
            twiddle[k] = std::polar(
                1.0, -2.0 * std::acos(-1.0) * static_cast<double>(k) / static_cast<double>(length));
    }
    std::size_t n;
    ComplexTransform half;
    std::vector<std::complex<double>> twiddle;
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
    // as KissFFT's own transform_real does: samples in pairs are the complex numbers' parts
    s.half.forward(reinterpret_cast<const std::complex<double>*>(samples.data()), bins.data());
    const double real = bins[0].real(), imag = bins[0].imag();
    bins[0] = real + imag;
    bins[m] = real - imag;
    for (std::size_t k = 1; k <= m / 2; ++k) {
        const std::complex<double> a = bins[k], b = std::conj(bins[m - k]);
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
    double *real = s.half.imag(), *imag = s.half.real();  // exchanged, the transform is the inverse
    real[0] = 0.5 * (bins[0].real() + bins[m].real());
    imag[0] = 0.5 * (bins[0].real() - bins[m].real());
    for (std::size_t k = 1; k <= m / 2; ++k) {
        const std::complex<double> a = bins[k], b = std::conj(bins[m - k]);
        const std::complex<double> even = 0.5 * (a + b);
        const std::complex<double> odd = 0.5 * std::conj(s.twiddle[k]) * (a - b);
        real[k] = even.real() - odd.imag();
        imag[k] = even.imag() + odd.real();
        real[m - k] = even.real() + odd.imag();
        imag[m - k] = odd.real() - even.imag();
    }
    s.half.forward();
    put_together(s.half.imag(), s.half.real(), 1.0 / static_cast<double>(m), samples.data(), m);
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
