#pragma once
#include <complex>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

namespace hushtrace {

/// Real Fourier transform of a fixed even length, in double precision (a float build's rounding floor near -145 dB lies too
/// close to harmonics at -120 dB of a 24-bit take).
/// Not thread-safe: one object a thread.
class RealTransform {
public:
    /// length: even, 2 or more; products of 2, 3 and 5 are fast. throws Error invalid_request
    explicit RealTransform(std::size_t length);
    ~RealTransform();
    RealTransform(RealTransform&&) noexcept;
    RealTransform& operator=(RealTransform&&) noexcept;
    std::size_t length() const;
    std::size_t bins() const { return length() / 2 + 1; }
    /// samples [length] -> bins [length/2 + 1], unscaled: X[k] = sum x[n] exp(-2 pi i k n / N)
    void forward(std::span<const double> samples, std::span<std::complex<double>> bins);
    /// bins [length/2 + 1] -> samples [length], scaled by 1/N, so that inverse(forward(x)) = x
    void inverse(std::span<const std::complex<double>> bins, std::span<double> samples);

private:
    struct State;
    std::unique_ptr<State> state_;
};

/// Smallest fast even length (2^a 3^b 5^c) not below `least`.
std::size_t fast_length(std::size_t least);

}  // namespace hushtrace
