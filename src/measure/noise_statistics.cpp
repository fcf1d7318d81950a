#include "hushtrace/measure/noise_statistics.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/log_gamma.hpp"

namespace hushtrace {
namespace {

constexpr double kTiny = 1e-300;
constexpr double kMost = 1e9;

/// ln of the regularised incomplete beta function, for x below the mean a / (a + b) or so.
double ln_beta_small(double x, double a, double b) {
    // modified Lentz evaluation of the continued fraction
    double c = 1.0, d = 1.0 - (a + b) * x / (a + 1.0);
    d = 1.0 / (std::abs(d) < kTiny ? kTiny : d);
    double fraction = d;
    for (int i = 1; i < 300; ++i) {
        const double m = i;
        const double even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        const double odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        double change = 1.0;
        for (const double step : {even, odd}) {
            d = 1.0 + step * d;
            d = 1.0 / (std::abs(d) < kTiny ? kTiny : d);
            c = 1.0 + step / c;
            if (std::abs(c) < kTiny) c = kTiny;
            change = c * d;
            fraction *= change;
        }
        if (std::abs(change - 1.0) < 1e-10) break;
    }
    const double ln_beta = log_gamma(a) + log_gamma(b) - log_gamma(a + b);
    return a * std::log(x) + b * std::log1p(-x) - std::log(a) - ln_beta + std::log(std::max(fraction, kTiny));
}

}  // namespace

double surprise_of_ratio(double ratio, double averages, double floor_averages) {
    if (!(ratio > 0.0)) return 0.0;
    const double a = floor_averages, b = averages;
    const double x = a / (a + b * ratio);
    if (x < (a + 1.0) / (a + b + 2.0)) return std::clamp(-ln_beta_small(x, a, b), 0.0, kMost);
    const double other = std::exp(ln_beta_small(1.0 - x, b, a));  // the other tail, which is the smaller here
    return std::max(0.0, -std::log1p(-std::min(other, 1.0 - 1e-12)));
}

double surprise_of_gamma(double ratio, double shape) {
    if (!(ratio > 0.0)) return 0.0;
    const double x = ratio * shape;
    const double front = shape * std::log(x) - x - log_gamma(shape);
    if (x < shape + 1.0) {
        double term = 1.0 / shape, sum = term;
        for (int n = 1; n < 2000 && term > 1e-14 * sum; ++n) sum += term *= x / (shape + n);
        return std::max(0.0, -std::log1p(-std::min(std::exp(front + std::log(sum)), 1.0 - 1e-12)));
    }
    double b = x + 1.0 - shape, c = 1.0 / kTiny, d = 1.0 / b, fraction = d;
    for (int i = 1; i < 2000; ++i) {
        const double step = -i * (i - shape);
        b += 2.0;
        d = step * d + b;
        d = 1.0 / (std::abs(d) < kTiny ? kTiny : d);
        c = b + step / c;
        if (std::abs(c) < kTiny) c = kTiny;
        fraction *= d * c;
        if (std::abs(d * c - 1.0) < 1e-10) break;
    }
    return std::clamp(-(front + std::log(fraction)), 0.0, kMost);
}

double surprise_of_sum(double sum, std::size_t count, double least) {
    if (!(sum > 0.0) || count == 0) return 0.0;
    const double n = static_cast<double>(count), ln_in = -least, ln_out = std::log1p(-std::exp(-least));
    double best = -1e300, total = 0;  // log of a sum of exponentials
    for (std::size_t j = 1; j <= count; ++j) {
        const double k = static_cast<double>(j);
        const double ln_term = log_choose(n, k) + k * ln_in + (n - k) * ln_out - surprise_of_gamma(sum / k, k);
        if (ln_term > best) {
            total = total * std::exp(best - ln_term) + 1.0;
            best = ln_term;
        } else {
            total += std::exp(ln_term - best);
        }
    }
    return std::clamp(-(best + std::log(total)), 0.0, kMost);
}

double gamma_mean_quantile(double averages, double z) {
    const double v = 1.0 / (9.0 * std::max(averages, 1.0));
    const double root = std::max(0.05, 1.0 - v + z * std::sqrt(v));
    return root * root * root;
}

}  // namespace hushtrace
