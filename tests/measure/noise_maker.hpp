#pragma once
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

#include "hushtrace/spectrum/transform.hpp"

/// Gaussian noise of a density that is known exactly: independent Gaussian bins, turned into samples.
class NoiseMaker {
public:
    /// `density` [full scale squared per hertz] at each frequency up to half the rate
    template <class Density>
    NoiseMaker(double rate_hz, std::size_t frames, Density density)
        : frames_(frames), transform_(hushtrace::fast_length(frames + static_cast<std::size_t>(rate_hz))) {
        const double n = static_cast<double>(transform_.length());
        for (std::size_t k = 0; k < transform_.bins(); ++k)  // E|X[k]|² = density / 2 * rate * N
            sigma_.push_back(std::sqrt(density(static_cast<double>(k) * rate_hz / n) * rate_hz * n / 4.0));
        sigma_.front() = sigma_.back() = 0;
        bins_.resize(transform_.bins());
        samples_.resize(transform_.length());
    }
    /// [frames] one take; the longer cycle is cut so that its end doesn't meet its start
    std::vector<double> take(std::mt19937& random) {
        std::normal_distribution<double> gauss;
        for (std::size_t k = 0; k < bins_.size(); ++k)
            bins_[k] = {sigma_[k] * gauss(random), sigma_[k] * gauss(random)};
        transform_.inverse(bins_, samples_);
        return {samples_.begin(), samples_.begin() + static_cast<std::ptrdiff_t>(frames_)};
    }

private:
    std::size_t frames_;
    hushtrace::RealTransform transform_;
    std::vector<double> sigma_, samples_;
    std::vector<std::complex<double>> bins_;
};
