#include "unwrap.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>

namespace hushtrace {
namespace {

using std::numbers::pi;

constexpr double kMost_s = 4e-3, kStep_s = 5e-5;

/// The delay [s] that lines the steps up; the smallest of those that do it equally well.
double lag_by_steps(std::span<const double> frequency_hz, std::span<const double> phase_rad) {
    const auto alike = [&](double lag_s) {
        double sum = 0;
        for (std::size_t k = 1; k < phase_rad.size(); ++k)
            sum += std::cos(phase_rad[k] - phase_rad[k - 1] + 2 * pi * (frequency_hz[k] - frequency_hz[k - 1]) * lag_s);
        return sum;
    };
    constexpr double kClearlyBetter = 1e-3;  // of a point: a narrow band says next to nothing of the lag
    double best_s = 0, best = alike(0);
    for (int step = 1; step * kStep_s <= kMost_s; ++step)
        for (const double lag_s : {step * kStep_s, -step * kStep_s})
            if (const double sum = alike(lag_s); sum > best + kClearlyBetter) {
                best = sum;
                best_s = lag_s;
            }
    return best_s;
}

}  // namespace

double nearest_turn(double angle_rad) {
    return angle_rad - 2 * pi * std::round(angle_rad / (2 * pi));
}

std::vector<double> unwrapped(std::span<const double> frequency_hz, std::span<const double> phase_rad) {
    std::vector<double> out;
    if (phase_rad.empty()) return out;
    const double lag_s = lag_by_steps(frequency_hz, phase_rad);
    out.push_back(nearest_turn(phase_rad[0]));
    for (std::size_t k = 1; k < phase_rad.size(); ++k) {
        const double expected = out.back() - 2 * pi * (frequency_hz[k] - frequency_hz[k - 1]) * lag_s;
        out.push_back(expected + nearest_turn(phase_rad[k] - expected));
    }
    return out;
}

}  // namespace hushtrace
