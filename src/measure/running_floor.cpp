#include "running_floor.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace {
namespace {

constexpr double floor_s = 0.5, usual_s = 4.0;
constexpr double certain_lift = 1.6;
constexpr std::size_t most_lifted = 6, learns_anew = 10;   // spectra
constexpr double tiny = 1e-30;

double middle(std::vector<double>& values) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

}  // namespace

RunningFloor::RunningFloor(std::size_t bins, double window_s, double hop_s)
    : share_(hop_s / floor_s), usual_share_(hop_s / usual_s), looks_a_spectrum_(std::min(1.0, 2.0 * hop_s / window_s)),
      seen_(bins, 0), smooth_(bins, 0.0), noise_(bins, tiny), usual_(bins, 0.0) {
    for (std::size_t centre = 3; centre < bins;) {
        const auto half = std::max<std::size_t>(12, static_cast<std::size_t>(0.1 * static_cast<double>(centre)));
        stretches_.push_back({centre, centre > half + 2 ? centre - half : 2, std::min(bins, centre + half + 1)});
        centre += std::max<std::size_t>(6, static_cast<std::size_t>(0.06 * static_cast<double>(centre)));
    }
    at_stretch_.resize(stretches_.size());
}

void RunningFloor::add(std::span<const double> density) {
    ++count_;
    // a click lifts everything at once: it must not stay in the floor for half a second
    if (count_ > 10) {
        ratios_.clear();
        for (std::size_t k = 8; k < density.size(); ++k) ratios_.push_back(density[k] / noise_[k]);
        lift_ = middle(ratios_) / 0.6931;
        // what is but chance must not count: the floor would sink by it again and again
        lifted_ = lift_ < certain_lift ? 0 : lifted_ + 1;
        // and what stays is no click: the noise is another one from here on
        if (lifted_ > most_lifted) count_ = learns_anew;
        if (lifted_ == 0 || lifted_ > most_lifted) lift_ = 1.0;
    }
    const double share = std::max(share_, 1.0 / static_cast<double>(count_));
    for (std::size_t k = 0; k < density.size(); ++k) smooth_[k] += share * (density[k] / lift_ - smooth_[k]);
    // of a gamma law (Wilson and Hilferty 1931): the median is less than the mean
    const double looks = std::max(1.0, looks_a_spectrum_ * std::min(static_cast<double>(count_), 2.0 / share_));
    const double median_over_mean = looks < 1.5 ? 0.6931 : std::pow(1.0 - 1.0 / (9.0 * looks), 3);
    for (std::size_t i = 0; i < stretches_.size(); ++i) {
        const auto begin = smooth_.begin();
        sorted_.assign(begin + static_cast<std::ptrdiff_t>(stretches_[i].from), begin + static_cast<std::ptrdiff_t>(stretches_[i].to));
        at_stretch_[i] = std::log(std::max(middle(sorted_) / median_over_mean, tiny));
    }
    std::size_t i = 0;
    for (std::size_t k = 0; k < noise_.size(); ++k) {
        while (i + 2 < stretches_.size() && k > stretches_[i + 1].centre) ++i;
        if (stretches_.size() < 2) break;
        const double width = static_cast<double>(stretches_[i + 1].centre - stretches_[i].centre);
        const double place = std::clamp((static_cast<double>(k) - static_cast<double>(stretches_[i].centre)) / width, 0.0, 1.0);
        noise_[k] = std::exp(at_stretch_[i] + place * (at_stretch_[i + 1] - at_stretch_[i]));
    }
}

void RunningFloor::learn(std::span<const double> density, std::span<const char> touched) {
    if (lift_ > 2.0) return;
    for (std::size_t k = 0; k < usual_.size(); ++k) {
        if (touched[k]) continue;
        ++seen_[k];
        usual_[k] += std::max(usual_share_, 1.0 / static_cast<double>(seen_[k])) * (density[k] - usual_[k]);
    }
}

void RunningFloor::expect(double frequency_hz, double mean_square, double bin_hz) {
    constexpr std::ptrdiff_t reach = 3;   // a Hann window's main lobe is four bins wide
    const double place = frequency_hz / bin_hz;
    const auto nearest = static_cast<std::ptrdiff_t>(std::lround(place));
    const auto lobe = [](double away) {   // amplitude of the window's transform, bins off (Harris 1978, section V.C)
        if (std::abs(away) < 1e-6) return 1.0;
        if (std::abs(std::abs(away) - 1.0) < 1e-6) return 0.5;
        const double x = std::numbers::pi * away;
        return std::sin(x) / x / (1.0 - away * away);
    };
    constexpr double bandwidth_bins = 1.5;
    for (std::ptrdiff_t k = nearest - reach; k <= nearest + reach; ++k) {
        if (k < 0 || k >= static_cast<std::ptrdiff_t>(usual_.size())) continue;
        const auto bin = static_cast<std::size_t>(k);
        usual_[bin] += mean_square / (bandwidth_bins * bin_hz) * std::pow(lobe(static_cast<double>(k) - place), 2);
        seen_[bin] = least_seen;
    }
}

}  // namespace hushtrace
