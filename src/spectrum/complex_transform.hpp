#pragma once
#include <cstddef>
#include <optional>
#include <vector>

#include <kissfft/kissfft.hh>

namespace hushtrace {

/// Complex Fourier transform of a fixed length, real and imaginary parts in arrays of their own, which the processor's vectors
/// take in whole. Lengths of the factors 2, 3, 4 and 5 alone; KissFFT's template does the others, at less than half the speed.
/// Not thread-safe: one object a thread.
///   source  the self-sorting algorithm of Stockham, as in Van Loan, Computational Frameworks for the FFT (1992), section 1.7;
///           butterflies of 3 and 5: Nussbaumer, Fast Fourier Transform and Convolution Algorithms (1982), section 5.5
class ComplexTransform {
public:
    explicit ComplexTransform(std::size_t length);
    std::size_t length() const { return real_.size(); }
    /// In: the samples; after forward() their transform, unscaled: Z[k] = sum z[n] exp(-2 pi i k n / N). The place may change.
    double* real() { return real_.data(); }
    double* imag() { return imag_.data(); }
    /// With real and imaginary parts exchanged before and after, this is the inverse, unscaled.
    void forward();

private:
    struct Pass {
        std::size_t radix = 0, rest = 0, stride = 0;  // radix * rest * stride is the length
        std::vector<double> turn_real, turn_imag;     // [radix - 1][rest]
    };
    void run(const Pass& pass);

    std::vector<Pass> passes_;
    std::vector<double> real_, imag_, next_real_, next_imag_;
    std::optional<kissfft<double>> other_;
    std::vector<std::complex<double>> packed_, turned_;
};

}  // namespace hushtrace
