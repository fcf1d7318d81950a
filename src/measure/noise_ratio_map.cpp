#include "noise_ratio_map.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "hushtrace/spectrum/spectrogram.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "near_rank.hpp"

namespace hushtrace {
namespace {

/// Level of one band of bins in each column, by its median, and what that strays by chance.
struct BandCourse {
    std::vector<double> ln_level, spread;   ///< [columns]; 0 where too few bins are known
};

BandCourse course_of(const NoiseRatioMap& map, std::size_t from, std::size_t to, std::size_t least_bins) {
    BandCourse course;
    std::vector<float> values(to - from);
    NearRank<float> near_rank;
    float median = 0.7F;
    for (std::size_t t = 0; t < map.columns; ++t) {
        const float* const column = map.ratio.data() + t * map.bins;
        std::size_t count = 0;
        for (std::size_t b = from; b < to; ++b) {
            values[count] = column[b];
            count += static_cast<std::size_t>(column[b] >= 0.0F);
        }
        if (count >= least_bins) median = near_rank.find(std::span<const float>(values).first(count), count / 2, median);
        const double level = count < least_bins ? 0.0 : static_cast<double>(median) / std::numbers::ln2;
        course.ln_level.push_back(level > 0.0 ? std::log(level) : 0.0);
        course.spread.push_back(level > 0.0 ? 1.0 / std::sqrt(static_cast<double>(count) * 0.48) : 0.0);
    }
    return course;
}

/// ln of what a column's band is divided by. What the median of so few says of steady noise is chance: only what goes beyond
/// it is followed, in the column itself (a click) or in those about it together (hiss that swells).
double ln_correction(const BandCourse& course, std::size_t t, std::size_t reach) {
    constexpr double beyond_chance = 3.0, smoothly_beyond = 4.0;
    const std::size_t first = t > reach ? t - reach : 0, last = std::min(course.ln_level.size(), t + reach + 1);
    double sum = 0, spread = 0;
    for (std::size_t j = first; j < last; ++j) {
        sum += course.ln_level[j];
        spread += course.spread[j];
    }
    const double count = static_cast<double>(last - first), about = sum / count;
    const double smooth = std::abs(about) < smoothly_beyond * spread / count / std::sqrt(count) ? 0.0 : about;
    return std::abs(course.ln_level[t] - smooth) < beyond_chance * course.spread[t] ? smooth : course.ln_level[t];
}

/// Noise that comes and goes: the median of each fifth of the range, in each column and over those about it, follows it.
void level_columns(NoiseRatioMap& map) {
    constexpr std::size_t bands = 5, least_bins = 64;
    constexpr double swells_over_s = 0.25;
    const std::size_t parts = std::max<std::size_t>(1, std::min(bands, map.bins / least_bins));
    const auto reach = static_cast<std::size_t>(swells_over_s / map.hop_s + 0.5);
    for (std::size_t p = 0; p < parts; ++p) {
        const std::size_t from = p * map.bins / parts, to = (p + 1) * map.bins / parts;
        const BandCourse course = course_of(map, from, to, least_bins / 2);
        for (std::size_t t = 0; t < map.columns; ++t) {
            const auto scale = static_cast<float>(std::exp(-ln_correction(course, t, reach)));
            for (std::size_t b = from; b < to; ++b)
                if (float& one = map.ratio[t * map.bins + b]; one > 0.0F) one *= scale;
        }
    }
}

}  // namespace

double NoiseRatioMap::lobe_hz(double snr_db) const { return hushtrace::lobe_hz(bin_hz, snr_db); }

void NoiseRatioMap::leave_out(std::size_t column, double low_hz, double high_hz) {
    const auto first = static_cast<std::size_t>(std::max(0.0, std::ceil(low_hz / bin_hz)));
    const auto last = static_cast<std::size_t>(std::max(0.0, std::floor(high_hz / bin_hz)));
    for (std::size_t b = first; b <= last && b < bins; ++b) ratio[column * bins + b] = nothing_known;
}

void NoiseRatioMap::leave_out_skirt(std::size_t column, double from_hz, int direction) {
    constexpr float over_noise = 4.0F;  // noise passes it once in 55 bins
    auto b = static_cast<std::ptrdiff_t>(direction > 0 ? std::floor(from_hz / bin_hz) + 1.0 : std::ceil(from_hz / bin_hz) - 1.0);
    for (; b > 0 && b < static_cast<std::ptrdiff_t>(bins); b += direction) {
        float& one = ratio[column * bins + static_cast<std::size_t>(b)];
        if (one < over_noise) return;
        one = nothing_known;
    }
}

void NoiseRatioMap::leave_out(const Ridge& ridge, double multiple) {
    const double lobe = lobe_hz(ridge.snr_db);
    for (std::size_t t = 0; t < columns; ++t) {
        const double at = centre_s(t), f = multiple * ridge.track.at(at);
        const double swept = multiple * std::abs(ridge.track.at(at + 0.5 * window_s) - ridge.track.at(at - 0.5 * window_s));
        const double reach = lobe + 0.5 * swept;
        leave_out(t, f - reach, f + reach);
        leave_out_skirt(t, f - reach, -1);
        leave_out_skirt(t, f + reach, 1);
    }
}

NoiseRatioMap noise_ratio_map(std::span<const double> samples, double rate, double window_s, double highest_hz,
                              const NoiseShape& noise, const std::vector<PassedLine>& still) {
    NoiseRatioMap map;
    const std::size_t length = fast_length(static_cast<std::size_t>(window_s * rate)), hop = length / 2;
    map.window_s = static_cast<double>(length) / rate;
    map.hop_s = static_cast<double>(hop) / rate;
    map.bin_hz = rate / static_cast<double>(length);
    map.bins = std::min(length / 2, static_cast<std::size_t>(highest_hz / map.bin_hz) + 2);
    // where there is no noise but the arithmetic's, nothing is known (float rounds to 6e-8 of the loudest amplitude)
    std::vector<float> scale(map.bins, NoiseRatioMap::nothing_known);
    for (std::size_t b = 1; b < map.bins; ++b) {
        const double at = static_cast<double>(b) * map.bin_hz, density = noise.seen_through(at, map.bin_hz);
        const bool known = std::none_of(still.begin(), still.end(), [&](const PassedLine& line) {
            return std::abs(at - line.frequency_hz) <= map.lobe_hz(line.snr_db);
        });
        if (known && noise.sure_at(at) && density > noise.loudest * 1e-13) scale[b] = static_cast<float>(1.0 / density);
    }
    map.ratio.reserve(map.bins * (samples.size() / hop + 1));
    SpectrogramStream stream(rate, length, hop, WindowKind::hann, [&](double, std::span<const double> density) {
        map.ratio.resize(map.ratio.size() + map.bins);
        float* const column = map.ratio.data() + map.columns * map.bins;
        for (std::size_t b = 0; b < map.bins; ++b) {
            const float ratio = static_cast<float>(density[b]) * scale[b];
            column[b] = scale[b] > 0.0F ? ratio : NoiseRatioMap::nothing_known;
        }
        ++map.columns;
    });
    stream.add(samples);
    level_columns(map);
    return map;
}

}  // namespace hushtrace
