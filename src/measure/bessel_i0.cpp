#include "bessel_i0.hpp"

#include <cmath>
#include <numbers>

namespace hushtrace {

double bessel_i0(double x) {
    constexpr double series_to = 30.0, enough = 1e-17;
    double term = 1.0, sum = 1.0;
    if (x < series_to) {   // 9.6.12: all terms are positive, nothing cancels
        const double quarter = 0.25 * x * x;
        for (double k = 1.0; term > enough * sum; k += 1.0) {
            term *= quarter / (k * k);
            sum += term;
        }
        return sum;
    }
    for (double k = 1.0; term > enough * sum; k += 1.0) {   // 9.7.1, whose terms fall up to k = 2 x
        const double odd = 2.0 * k - 1.0;
        term *= odd * odd / (8.0 * k * x);
        sum += term;
    }
    return std::exp(x) / std::sqrt(2.0 * std::numbers::pi * x) * sum;
}

}  // namespace hushtrace
