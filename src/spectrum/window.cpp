#include "hushtrace/spectrum/window.hpp"

#include <array>
#include <cmath>
#include <numbers>

#include "hushtrace/signal/error.hpp"

// Coefficients: [HRS] Heinzel, Ruediger, Schilling 2002, appendix C. Facts: the same report's table; the main
// lobe of a constant and K cosines reaches its first zero at K + 1 bins.
namespace hushtrace {
namespace {

struct CosineSum {
    WindowFacts facts;
    std::array<double, 11> a{};  // w[j] = sum_k a[k] cos(2 pi k j / N)
};

const CosineSum& cosine_sum(WindowKind kind) {
    static const std::array<CosineSum, 9> sums = {{
        {{"rectangular", 1.0, -13.3, 0.0, 1}, {1}},
        {{"hann", 1.5, -31.5, 0.5, 2}, {0.5, -0.5}},
        {{"blackman_harris", 2.0044, -92.0, 0.661, 4}, {0.35875, -0.48829, 0.14128, -0.01168}},
        {{"hft70", 3.4129, -70.4, 0.722, 4}, {1, -1.90796, 1.07349, -0.18199}},
        {{"hft90d", 3.8832, -90.2, 0.760, 5}, {1, -1.942604, 1.340318, -0.440811, 0.043097}},
        {{"hft95", 3.8112, -95.0, 0.756, 5}, {1, -1.9383379, 1.3045202, -0.402827, 0.0350665}},
        {{"hft116d", 4.2186, -116.8, 0.782, 6},
         {1, -1.9575375, 1.4780705, -0.6367431, 0.1228389, -0.0066288}},
        {{"hft144d", 4.5386, -144.1, 0.799, 7},
         {1, -1.96760033, 1.57983607, -0.81123644, 0.22583558, -0.02773848, 0.0009036}},
        {{"hft248d", 5.6512, -248.4, 0.841, 11},
         {1, -1.985844164102, 1.791176438506, -1.282075284005, 0.667777530266, -0.240160796576,
          0.056656381764, -0.008134974479, 0.00062454465, -1.9808998e-05, 1.32974e-07}},
    }};
    return sums.at(static_cast<std::size_t>(kind));
}

}  // namespace

std::vector<double> window_samples(WindowKind kind, std::size_t length) {
    if (length == 0) throw Error(ErrorKind::invalid_request, "a window needs at least one sample");
    const auto& a = cosine_sum(kind).a;
    std::vector<double> window(length);
    for (std::size_t j = 0; j < length; ++j) {
        double sum = 0;
        for (std::size_t k = 0; k < a.size(); ++k) {
            if (a[k] == 0.0) continue;
            // reduced by whole turns in integers, so that the argument of cos stays exact
            const double turns = static_cast<double>((k * j) % length) / static_cast<double>(length);
            sum += a[k] * std::cos(2.0 * std::numbers::pi * turns);
        }
        window[j] = sum;
    }
    return window;
}

double coherent_gain(std::span<const double> window) {
    double sum = 0;
    for (const double w : window) sum += w;
    return sum / static_cast<double>(window.size());
}

double noise_bandwidth_bins(std::span<const double> window) {
    double sum = 0, squares = 0;
    for (const double w : window) {
        sum += w;
        squares += w * w;
    }
    return static_cast<double>(window.size()) * squares / (sum * sum);
}

WindowFacts window_facts(WindowKind kind) {
    return cosine_sum(kind).facts;
}

}  // namespace hushtrace
