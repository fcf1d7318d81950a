#pragma once
#include <cmath>
#include <cstdint>
#include <numbers>

namespace hushtrace {

/// Random numbers that are the same on every machine for the same seed.
///   source  Steele, Lea, Flood 2014, "Fast splittable pseudorandom number generators" (SplitMix64)
class Random {
public:
    explicit Random(std::uint64_t seed) : state_(seed) {}

    /// Evenly distributed in 0..1, 1 not included.
    double uniform() {
        state_ += 0x9E3779B97F4A7C15U;
        std::uint64_t mixed = state_;
        mixed = (mixed ^ (mixed >> 30U)) * 0xBF58476D1CE4E5B9U;
        mixed = (mixed ^ (mixed >> 27U)) * 0x94D049BB133111EBU;
        mixed ^= mixed >> 31U;
        return static_cast<double>(mixed >> 11U) * 0x1p-53;
    }
    /// Triangular in -1..1: the dither that makes a rounding error's mean and power independent of the
    /// signal.
    double triangular() {
        const double first = uniform();
        return first - uniform();
    }
    /// Normal with variance 1 (Box and Muller 1958).
    double gaussian() {
        if (has_spare_) {
            has_spare_ = false;
            return spare_;
        }
        const double radius = std::sqrt(-2.0 * std::log(1.0 - uniform()));
        const double angle = 2.0 * std::numbers::pi * uniform();
        spare_ = radius * std::sin(angle);
        has_spare_ = true;
        return radius * std::cos(angle);
    }

private:
    std::uint64_t state_;
    double spare_ = 0;
    bool has_spare_ = false;
};

}  // namespace hushtrace
