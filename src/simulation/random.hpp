#pragma once
#include <array>
#include <cmath>
#include <cstdint>

namespace hushtrace::simulated {

/// A stream of random numbers that is the same on every machine: xoshiro256++ (Blackman and Vigna 2019),
/// seeded through splitmix64 so that neighbouring seeds and streams have nothing in common.
class Random {
public:
    explicit Random(std::uint64_t seed = 1, std::uint64_t stream = 0) {
        std::uint64_t mixed = seed * 0x9E3779B97F4A7C15u + stream * 0xD1B54A32D192ED03u;
        for (std::uint64_t& word : state_) word = splitmix(mixed);
    }
    /// Uniform in [0, 1).
    double uniform() { return static_cast<double>(next() >> 11) * 0x1.0p-53; }
    /// Mean 0, standard deviation 1 (Marsaglia's polar method).
    double gaussian() {
        if (spare_ready_) {
            spare_ready_ = false;
            return spare_;
        }
        double x = 0, y = 0, square = 0;
        do {
            x = 2.0 * uniform() - 1.0;
            y = 2.0 * uniform() - 1.0;
            square = x * x + y * y;
        } while (square >= 1.0 || square == 0.0);
        const double scale = std::sqrt(-2.0 * std::log(square) / square);
        spare_ = y * scale;
        spare_ready_ = true;
        return x * scale;
    }

private:
    static std::uint64_t splitmix(std::uint64_t& state) {
        std::uint64_t z = (state += 0x9E3779B97F4A7C15u);
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
        return z ^ (z >> 31);
    }
    static std::uint64_t rotated(std::uint64_t x, int by) { return (x << by) | (x >> (64 - by)); }
    std::uint64_t next() {
        const std::uint64_t result = rotated(state_[0] + state_[3], 23) + state_[0];
        const std::uint64_t shifted = state_[1] << 17;
        state_[2] ^= state_[0];
        state_[3] ^= state_[1];
        state_[1] ^= state_[2];
        state_[0] ^= state_[3];
        state_[2] ^= shifted;
        state_[3] = rotated(state_[3], 45);
        return result;
    }

    std::array<std::uint64_t, 4> state_{};
    double spare_ = 0;
    bool spare_ready_ = false;
};

/// A quantity that wanders slowly round 0 with rms 1 and forgets itself within `correlation_s`
/// (Ornstein-Uhlenbeck).
class Wander {
public:
    Wander(double correlation_s, double step_s)
        : keep_(std::exp(-step_s / correlation_s)), fresh_(std::sqrt(1.0 - keep_ * keep_)) {}
    double next(Random& random) { return value_ = keep_ * value_ + fresh_ * random.gaussian(); }
    /// Starts anywhere, as if it had been wandering all along.
    void settle(Random& random) { value_ = random.gaussian(); }

private:
    double keep_, fresh_;
    double value_ = 0;
};

}  // namespace hushtrace::simulated
