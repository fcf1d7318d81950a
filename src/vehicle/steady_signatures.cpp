#include "hushtrace/vehicle/steady_signatures.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace {

double pulse_harmonic_db(int number, double duty, double tilt) {
    const double n = number;
    // edges take time and duties stray: no harmonic is nulled altogether
    const double wave = std::max(std::abs(std::sin(std::numbers::pi * n * duty)), 0.03);
    return 20.0 * std::log10(wave / (std::numbers::pi * n)) + 20.0 * tilt * std::log10(n);
}

}  // namespace hushtrace
