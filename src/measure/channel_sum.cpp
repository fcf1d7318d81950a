#include "hushtrace/measure/channel_sum.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace hushtrace {
namespace {

constexpr double kAlike = 4.0;         // amplitude ratio: 12 dB
constexpr double kCancels_db = -6.0;
constexpr double kEdge_db = -6.0, kBeyond_db = -12.0;
constexpr std::size_t kThird = transfer_points_per_octave / 3;

struct SumPoint {
    double frequency_hz, share;  ///< power of the sum over what it would be in phase
};

std::vector<SumPoint> smoothed(const std::vector<SumPoint>& points) {
    std::vector<SumPoint> out;
    for (std::size_t k = 0; k < points.size(); ++k) {
        double sum = 0, count = 0;
        for (std::size_t j = k < 2 ? 0 : k - 2; j < std::min(points.size(), k + 3); ++j) {
            sum += points[j].share;
            ++count;
        }
        out.push_back({points[k].frequency_hz, sum / count});
    }
    return out;
}

double decibels(double power) { return 10 * std::log10(std::max(power, 1e-12)); }

/// Each point against the channel's level, a sixth of an octave averaged; unseen points read -infinity.
struct Levelled {
    std::vector<double> frequency_hz, below_db;
};
std::optional<Levelled> levelled(std::span<const TransferPoint> transfer) {
    const auto level = passband_level(transfer);
    if (!level) return std::nullopt;
    Levelled out;
    for (std::size_t k = 0; k < transfer.size(); ++k) {
        double sum = 0, count = 0;
        for (std::size_t j = k < 2 ? 0 : k - 2; j < std::min(transfer.size(), k + 3); ++j) {
            if (transfer[j].seen()) sum += std::norm(transfer[j].gain) - transfer[j].noise_power;
            ++count;
        }
        out.frequency_hz.push_back(transfer[k].frequency_hz);
        out.below_db.push_back(decibels(sum / count) - level->level_db.value);
    }
    return out;
}

}  // namespace

std::optional<ChannelSum> sum_of_channels(std::span<const TransferPoint> a, std::span<const TransferPoint> b) {
    std::vector<SumPoint> points;
    for (const TransferPoint& p : a) {
        const auto q = point_at(b, p.frequency_hz);
        if (!q || std::abs(q->frequency_hz / p.frequency_hz - 1) > 0.005 || !p.seen() || !q->seen()) continue;
        const double one = std::abs(p.gain), other = std::abs(q->gain);
        if (one > kAlike * other || other > kAlike * one) continue;
        points.push_back({p.frequency_hz, std::norm(p.gain + q->gain) / ((one + other) * (one + other))});
    }
    if (points.size() < kThird) return std::nullopt;
    const std::vector<SumPoint> smooth = smoothed(points);
    const auto deepest = std::min_element(smooth.begin(), smooth.end(),
                                          [](const SumPoint& x, const SumPoint& y) { return x.share < y.share; });
    ChannelSum out;
    out.deepest_hz = deepest->frequency_hz;
    out.deepest_db = decibels(deepest->share);
    if (out.deepest_db > kCancels_db) return out;
    auto from = deepest, to = deepest;
    while (from != smooth.begin() && decibels((from - 1)->share) <= kCancels_db) --from;
    while (to + 1 != smooth.end() && decibels((to + 1)->share) <= kCancels_db) ++to;
    const double half_step = std::exp2(0.5 / transfer_points_per_octave);
    out.from_hz = from->frequency_hz / half_step;
    out.to_hz = to->frequency_hz * half_step;
    return out;
}

std::optional<PassedBand> band_of(std::span<const TransferPoint> transfer) {
    const auto read = levelled(transfer);
    if (!read) return std::nullopt;
    PassedBand out;
    out.measured_from_hz = read->frequency_hz.front();
    out.measured_to_hz = read->frequency_hz.back();
    const std::vector<double>& below = read->below_db;
    const auto level = passband_level(transfer);
    std::size_t middle = 0;
    while (middle + 1 < below.size() && read->frequency_hz[middle] < level->centre_hz) ++middle;
    std::size_t low = middle, high = middle;
    while (low > 0 && below[low] > kEdge_db) --low;
    while (high + 1 < below.size() && below[high] > kEdge_db) ++high;
    const auto falls = [&](std::size_t from, std::size_t to) {
        return std::any_of(below.begin() + static_cast<std::ptrdiff_t>(from), below.begin() + static_cast<std::ptrdiff_t>(to),
                           [](double db) { return db <= kBeyond_db; });
    };
    if (below[low] <= kEdge_db && falls(0, low + 1)) out.low_hz = read->frequency_hz[low];
    if (below[high] <= kEdge_db && falls(high, below.size())) out.high_hz = read->frequency_hz[high];
    return out;
}

std::optional<BandCrossing> crossing_of(std::span<const TransferPoint> lower, std::span<const TransferPoint> upper) {
    const auto below = levelled(lower), above = levelled(upper);
    const auto lower_band = band_of(lower), upper_band = band_of(upper);
    if (!below || !above || !lower_band->high_hz || !upper_band->low_hz) return std::nullopt;
    const double from_hz = 0.5 * std::min(*lower_band->high_hz, *upper_band->low_hz),
                 to_hz = 2.0 * std::max(*lower_band->high_hz, *upper_band->low_hz);
    if (*lower_band->high_hz > 4 * *upper_band->low_hz || *upper_band->low_hz > 4 * *lower_band->high_hz) return std::nullopt;
    std::optional<BandCrossing> out;
    double nearest_db = 6.0;
    for (std::size_t k = 0; k < below->frequency_hz.size(); ++k) {
        const double hz = below->frequency_hz[k];
        if (hz < from_hz || hz > to_hz) continue;
        for (std::size_t j = 0; j < above->frequency_hz.size(); ++j) {
            if (std::abs(above->frequency_hz[j] / hz - 1) > 0.005) continue;
            const double apart = std::abs(below->below_db[k] - above->below_db[j]);
            if (apart >= nearest_db) continue;
            nearest_db = apart;
            out = BandCrossing{hz, 0.5 * (below->below_db[k] + above->below_db[j])};
        }
    }
    return out;
}

std::optional<double> added_db(std::span<const TransferPoint> a, std::span<const TransferPoint> b, double frequency_hz) {
    const auto level_a = passband_level(a), level_b = passband_level(b);
    if (!level_a || !level_b) return std::nullopt;
    const double scale_a = std::pow(10.0, -level_a->level_db.value / 20), scale_b = std::pow(10.0, -level_b->level_db.value / 20);
    double sum = 0, loudest = 0;
    std::size_t count = 0;
    for (const TransferPoint& p : a) {
        if (std::abs(std::log2(p.frequency_hz / frequency_hz)) > 1.0 / 6) continue;
        const auto q = point_at(b, p.frequency_hz);
        if (!q || !p.seen() || !q->seen()) continue;
        sum += std::norm(scale_a * p.gain + scale_b * q->gain);
        loudest += std::max(std::norm(scale_a * p.gain), std::norm(scale_b * q->gain));
        ++count;
    }
    if (count < kThird / 2) return std::nullopt;
    return decibels(sum / loudest);
}

}  // namespace hushtrace
