#pragma once
#include <complex>
#include <cstddef>
#include <vector>

#include <kissfft/kissfft.hh>

namespace hushtrace {

/// Complex Fourier transform of a fixed length: KissFFT's template in double precision. Real and imaginary parts stand in
/// arrays of their own, so that the loops before and after it fit the processor's vectors.
/// Not thread-safe: one object a thread.
class ComplexTransform {
public:
    explicit ComplexTransform(std::size_t length);
    std::size_t length() const { return real_.size(); }
    /// In: the samples; after forward() their transform, unscaled: Z[k] = sum z[n] exp(-2 pi i k n / N).
    double* real() { return real_.data(); }
    double* imag() { return imag_.data(); }
    /// With real and imaginary parts exchanged before and after, this is the inverse, unscaled.
    void forward();
    /// The same between arrays of the caller's, of `length` each, that don't overlap.
    void forward(const std::complex<double>* in, std::complex<double>* out) const { transform_.transform(in, out); }

private:
    kissfft<double> transform_;
    std::vector<double> real_, imag_;
    std::vector<std::complex<double>> packed_, turned_;
};

}  // namespace hushtrace
