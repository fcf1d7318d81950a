#include "steady_line_ratio.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "bessel_i0.hpp"
#include "hushtrace/signal/wide_vectors.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kSize = 600;
constexpr double kTop = 60;
/// One column, however loud, doesn't draw a path over from another line.
constexpr double kMostInFavour = 8;

HUSHTRACE_WIDE_VECTORS
void look_up(const float* __restrict table, const float* __restrict r, float* __restrict out, std::size_t count) {
    constexpr auto top = static_cast<float>(kTop), scale = static_cast<float>(kSize / kTop);
    for (std::size_t i = 0; i < count; ++i) {
        const float place = std::clamp(r[i], 0.0F, top) * scale;
        const auto k = static_cast<std::int32_t>(place);
        const float value = table[k] + (place - static_cast<float>(k)) * (table[k + 1] - table[k]);
        out[i] = r[i] < 0.0F ? 1.0F : value;
    }
}

}  // namespace

SteadyLineRatio::SteadyLineRatio(double snr) : table_(kSize + 2) {
    for (std::size_t i = 0; i < table_.size(); ++i) {
        const double r = kTop * static_cast<double>(i) / kSize;
        table_[i] = static_cast<float>(
            std::min(std::exp(-snr) * bessel_i0(2.0 * std::sqrt(snr * r)), std::exp(kMostInFavour)));
    }
}

void SteadyLineRatio::of(const float* r, float* out, std::size_t count) const { look_up(table_.data(), r, out, count); }

}  // namespace hushtrace
