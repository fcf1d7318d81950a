#include "hushtrace/measure/humps.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/measure/noise_statistics.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kTo = 0.42, kIndependent = 0.55 / 1.94;   // a median's share of Hann bins
constexpr std::size_t kLeastBins = 7;

double median_between(const std::vector<double>& density, std::size_t from, std::size_t to) {
    std::vector<double> some(density.begin() + static_cast<std::ptrdiff_t>(from), density.begin() + static_cast<std::ptrdiff_t>(to));
    const auto middle = some.begin() + static_cast<std::ptrdiff_t>(some.size() / 2);
    std::nth_element(some.begin(), middle, some.end());
    return *middle;
}

/// Whether their median times `ratio` is above `least`: counting them costs a tenth of looking for the median.
bool median_times_is_above(const std::vector<double>& density, std::size_t from, std::size_t to, double ratio, double least) {
    const auto upto = std::count_if(density.begin() + static_cast<std::ptrdiff_t>(from), density.begin() + static_cast<std::ptrdiff_t>(to),
                                    [=](double one) { return !(ratio * one > least); });
    return static_cast<std::size_t>(upto) <= (to - from) / 2;
}

/// One place in one shape; nothing where too few bins make it up.
Hump look_at(const StillSpectrum& s, double hz, const HumpShape& shape) {
    Hump hump;
    const auto bin = [&s](double f) { return s.bin_of(f); };
    const std::size_t a = bin(hz * (1 - shape.half)), b = bin(hz * (1 + shape.half)) + 1;
    const std::size_t l0 = bin(hz * (1 - shape.far)), l1 = bin(hz * (1 - shape.near));
    const std::size_t r0 = bin(hz * (1 + shape.near)), r1 = bin(hz * (1 + shape.far));
    if (b < a + kLeastBins || l1 < l0 + kLeastBins || r1 < r0 + kLeastBins || r1 >= s.density.size()) return hump;
    const double middle = median_between(s.density, a, b);
    for (const auto& [from, to] : {std::pair{l0, l1}, {r0, r1}})
        if (median_times_is_above(s.density, from, to, shape.least_ratio, middle)) return hump;
    const double side = std::max(median_between(s.density, l0, l1), median_between(s.density, r0, r1));
    if (!(side > 0.0)) return hump;
    const double cells = static_cast<double>(b - a) * kIndependent, side_cells = static_cast<double>(l1 - l0) * kIndependent;
    hump.surprise = surprise_of_ratio(middle / side / shape.least_ratio, std::max(1.0, cells) * s.averages,
                                      std::max(1.0, side_cells) * s.averages);
    hump.frequency_hz = hz;
    hump.low_hz = hz * (1 - 0.5 * (shape.half + shape.near));
    hump.high_hz = hz * (1 + 0.5 * (shape.half + shape.near));
    hump.above_db = decibels_from_power(middle / side);
    for (std::size_t k = bin(hump.low_hz); k <= bin(hump.high_hz); ++k) hump.mean_square += (s.density[k] - side) * s.bin_hz;
    hump.mean_square = std::max(hump.mean_square, 0.0);
    return hump;
}

/// Whether it stands in the middle column too: what rings in a few moments alone has but those for its average.
bool stands_throughout(const ColumnMap& map, const Hump& hump, const HumpShape& shape) {
    std::vector<double> ratios;
    std::vector<double> column(map.bins());
    const double hz = hump.frequency_hz;
    const auto between = [&](double from, double to) { return median_between(column, map.bin_of(hz * from), map.bin_of(hz * to) + 1); };
    const auto first = static_cast<std::ptrdiff_t>(map.bin_of(hz * (1 - shape.far)));
    const auto last = std::min(map.bins(), map.bin_of(hz * (1 + shape.far)) + 1);
    for (const auto& powers : map.density) {
        std::copy(powers.begin() + first, powers.begin() + static_cast<std::ptrdiff_t>(last), column.begin() + first);
        const double side = 0.5 * (between(1 - shape.far, 1 - shape.near) + between(1 + shape.near, 1 + shape.far));
        ratios.push_back(side > 0.0 ? between(1 - shape.half, 1 + shape.half) / side : 0.0);
    }
    if (ratios.empty()) return false;
    return median_between(ratios, 0, ratios.size()) > std::sqrt(shape.least_ratio);
}

/// Of exponentials of mean S_k, (sum P)^2 / sum P^2 is half of (sum S)^2 / sum S^2; a line fills two bins or three.
std::optional<double> evenness_of(const ColumnMap& map, double low_hz, double high_hz) {
    const std::size_t low = map.bin_of(low_hz), high = map.bin_of(high_hz);
    double most = 0, sum = 0, squares = 0;
    for (std::size_t k = low; k <= high; ++k) most = std::max(most, map.mean[k]);
    std::vector<std::size_t> inside;
    const double typical = median_between(map.mean, low, high + 1);
    for (std::size_t k = low; k <= high; ++k)
        if (map.mean[k] > 0.3 * std::min(most, 4.0 * typical)) {
            inside.push_back(k);
            sum += map.mean[k];
            squares += map.mean[k] * map.mean[k];
        }
    const double width = squares > 0.0 ? sum * sum / squares : 0.0;
    if (width < 12.0 || map.density.size() < 4) return std::nullopt;
    std::vector<double> filled;
    for (const auto& column : map.density) {
        double s1 = 0, s2 = 0;
        for (const std::size_t k : inside) {
            s1 += static_cast<double>(column[k]);
            s2 += static_cast<double>(column[k]) * static_cast<double>(column[k]);
        }
        if (s2 > 0.0) filled.push_back(s1 * s1 / s2);
    }
    if (filled.empty()) return std::nullopt;
    const auto middle = filled.begin() + static_cast<std::ptrdiff_t>(filled.size() / 2);
    std::nth_element(filled.begin(), middle, filled.end());
    return *middle / (0.5 * width);
}

}  // namespace

std::vector<Hump> find_humps(const ColumnMap& map, const StillSpectrum& still, const HumpSearch& search) {
    std::vector<Hump> all, found;
    if (still.density.size() < 200) return found;
    double places = 0;
    const double to_hz = std::min(search.to_hz, kTo * still.sample_rate_hz);
    for (const HumpShape& shape : search.shapes) {
        double hz = search.from_hz;
        while (hz < to_hz) {
            places += 1.0;
            Hump hump = look_at(still, hz, shape);
            if (hump.surprise > search.least_surprise && stands_throughout(map, hump, shape)) all.push_back(hump);
            hz *= 1.0 + 0.7 * shape.half;
        }
    }
    std::sort(all.begin(), all.end(), [](const Hump& a, const Hump& b) { return a.surprise > b.surprise; });
    for (Hump& one : all) {
        one.surprise -= std::log(std::max(places, 1.0));
        if (one.surprise < search.least_surprise) break;
        const bool apart = std::none_of(found.begin(), found.end(), [&one](const Hump& other) {
            return one.low_hz < other.high_hz && one.high_hz > other.low_hz;
        });
        if (!apart) continue;
        one.evenness = evenness_of(map, one.low_hz, one.high_hz);
        found.push_back(one);
    }
    std::sort(found.begin(), found.end(), [](const Hump& a, const Hump& b) { return a.frequency_hz < b.frequency_hz; });
    return found;
}

}  // namespace hushtrace
