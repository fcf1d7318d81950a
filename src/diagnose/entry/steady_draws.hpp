#pragma once
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>

#include "hushtrace/measure/reading.hpp"

/// Sums over what isn't known, by draws that are the same on every run and every machine.
namespace hushtrace {

class SteadyDraws {
public:
    /// A standard normal (Box and Muller 1958); std::normal_distribution differs between libraries.
    double normal() {
        const double radius = std::sqrt(-2.0 * std::log(uniform()));
        return radius * std::cos(2.0 * std::numbers::pi * uniform());
    }
    /// About `middle`, times or over exp(sd_ln).
    double about(double middle, double sd_ln) { return middle * std::exp(sd_ln * normal()); }

private:
    double uniform() { return (static_cast<double>(bits_() >> 11) + 0.5) / 9007199254740992.0; }  // 2^53
    std::mt19937_64 bits_{1};
};

/// Mean and spread of weighed values.
class WeighedSum {
public:
    void add(double value, double weight) {
        weights_ += weight;
        sum_ += weight * value;
        squares_ += weight * value * value;
    }
    bool any() const { return weights_ > 0.0; }
    Reading reading() const {
        const double mean = sum_ / weights_;
        return {mean, std::sqrt(std::max(0.0, squares_ / weights_ - mean * mean))};
    }

private:
    double weights_ = 0, sum_ = 0, squares_ = 0;
};

/// How likely a reading is where `expected` is true; a twentieth of readings show what nothing here explains, spread over 60 dB.
inline double likeliness_db(double read, double sd, bool at_most, double expected) {
    constexpr double wrong = 0.05, over_db = 60.0;
    const double z = (read - expected) / sd;
    if (at_most) return (1.0 - wrong) * 0.5 * std::erfc(-z / std::numbers::sqrt2) + 0.5 * wrong;
    return (1.0 - wrong) * std::exp(-0.5 * z * z) / (sd * std::sqrt(2.0 * std::numbers::pi)) + wrong / over_db;
}

}  // namespace hushtrace
