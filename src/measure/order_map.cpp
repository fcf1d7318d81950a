#include "hushtrace/measure/order_map.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/spectrogram.hpp"

namespace hushtrace {
namespace {

constexpr double kStep_s = 0.01;
constexpr double kSilence = 1e-20;  // mean square

/// When a track has made so many cycles: walks along it, ascending.
class Clock {
public:
    explicit Clock(const Track& track) : track_(track) {}
    double time_at(double cycles) {
        while (true) {
            const double step = 0.5 * (track_.at(time_s_) + track_.at(time_s_ + kStep_s)) * kStep_s;
            if (turns_ + step >= cycles) return time_s_ + kStep_s * (cycles - turns_) / step;
            turns_ += step;
            time_s_ += kStep_s;
        }
    }

private:
    const Track& track_;
    double time_s_ = 0, turns_ = 0;
};

}  // namespace

OrderMap order_map(const CycleSamples& resampled, const Track& track, double most_ratio, std::size_t rows,
                   double resolution_s) {
    if (track.empty() || rows == 0 || !(most_ratio > 0.0))
        throw Error(ErrorKind::invalid_request, "an order map needs a track, rows and an order to end at");
    const double wanted = resolution_s * track.mean_hz() * resampled.samples_per_cycle;
    const std::size_t length = fast_length(static_cast<std::size_t>(std::max(16.0, wanted)));
    OrderMap map;
    if (resampled.samples.size() < length) return map;
    const double end = std::min(most_ratio, 0.5 * resampled.samples_per_cycle);
    const double bin = resampled.samples_per_cycle / static_cast<double>(length);
    map.row_ratio = std::max(bin, end / static_cast<double>(rows));
    const auto count = static_cast<std::size_t>(std::max(1.0, std::floor(end / map.row_ratio + 0.5)));
    Clock clock(track);
    SpectrogramStream stream(
        resampled.samples_per_cycle, length, length / 2, WindowKind::hann,
        [&](double cycles, std::span<const double> density) {
            map.time_s.push_back(clock.time_at(cycles));
            map.frequency_hz.push_back(track.at(map.time_s.back()));
            auto& column = map.level_dbfs.emplace_back(count);
            for (std::size_t row = 0; row < count; ++row) {
                const auto place = [&](std::size_t edge) {
                    return std::min(density.size() - 1,
                                    static_cast<std::size_t>(std::lround(static_cast<double>(edge) * map.row_ratio / bin)));
                };
                const std::size_t from = place(row), to = std::max(from + 1, place(row + 1));
                const double most = *std::max_element(density.begin() + static_cast<std::ptrdiff_t>(from),
                                                      density.begin() + static_cast<std::ptrdiff_t>(std::min(to, density.size())));
                // a Hann window passes noise as if it were 1.5 bins wide
                column[row] = static_cast<float>(dbfs_from_mean_square(std::max(1.5 * bin * most, kSilence)));
            }
        });
    stream.add(resampled.samples);
    return map;
}

}  // namespace hushtrace
