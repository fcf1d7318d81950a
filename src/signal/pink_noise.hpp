#pragma once
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "random.hpp"

namespace hushtrace {

/// Gaussian noise of power density proportional to 1/f, at rms 1.
///
/// White noise through a ladder of one-pole, one-zero sections whose corners alternate at equal distances on
/// a logarithmic axis. The three topmost pairs were fitted against 1/f by least squares, which takes the bend
/// out that a sampled ladder has below half the rate: within 0.1 dB of 1/f from 10 Hz to 0.48 of the rate.
class PinkNoise {
public:
    PinkNoise(double sample_rate_hz, std::uint64_t seed) : random_(seed) {
        constexpr std::array top_poles = {0.824014566698299, 0.4767929700908375, -0.28471027417171024};
        constexpr std::array top_zeros = {0.6938070153780636, 0.1764252342066514, -0.3775570044496165};
        for (std::size_t i = 0; i < top_poles.size(); ++i) sections_.push_back({top_poles[i], top_zeros[i]});
        const double distance = 3.0, lowest_hz = 2.0;
        for (double corner = 0.01; corner * sample_rate_hz > lowest_hz; corner /= distance) {
            const double zero = corner * std::sqrt(distance);
            sections_.push_back(
                {std::exp(-2.0 * std::numbers::pi * corner), std::exp(-2.0 * std::numbers::pi * zero)});
        }
        scale_ = 1.0 / std::sqrt(power_gain());
        const auto settled =
            static_cast<std::size_t>(sample_rate_hz);  // the lowest section has forgotten its start
        for (std::size_t i = 0; i < settled; ++i) (void)next();
    }

    double next() {
        double value = random_.gaussian() * scale_;
        for (Section& s : sections_) {
            const double state = value + s.pole * s.state;
            value = state - s.zero * s.state;
            s.state = state;
        }
        return value;
    }

private:
    struct Section {
        double pole, zero;
        double state = 0;
    };
    // Mean of |H|^2 over all frequencies, integrated on a logarithmic axis where H is smooth.
    double power_gain() const {
        const int steps = 4000;
        const double lowest = std::log(1e-7), highest = std::log(0.5), width = (highest - lowest) / steps;
        double sum = 0;
        for (int i = 0; i < steps; ++i) {
            const double cycles = std::exp(lowest + (i + 0.5) * width);
            const auto back = std::polar(1.0, -2.0 * std::numbers::pi * cycles);
            double gain = 1;
            for (const Section& s : sections_)
                gain *= std::norm(1.0 - s.zero * back) / std::norm(1.0 - s.pole * back);
            sum += gain * cycles * width;
        }
        return 2.0 * sum;
    }
    std::vector<Section> sections_;
    double scale_ = 1;
    Random random_;
};

}  // namespace hushtrace
