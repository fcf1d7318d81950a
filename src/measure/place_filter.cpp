#include "place_filter.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double leaves = 0.004, returns = 0.004;   // a hop
constexpr double keeps_slope = 0.78, slope_shifts = 0.1, slope_anew = 0.02;
constexpr double stays_put = 0.6;                   // the rest strays by one place either way
constexpr std::size_t near_places = 14;
constexpr double search_spread = 0.03;              // relative, round where it was last
constexpr std::size_t soon_hops = 200;

}  // namespace

PlaceFilter::PlaceFilter(double low_hz, double high_hz, double first_hz, double step, std::size_t reach, double lobe_hz)
    : step_(step), lobe_hz_(lobe_hz), reach_(static_cast<std::ptrdiff_t>(reach)), slopes_(2 * reach + 1), likeliest_hz_(first_hz),
      last_hz_(first_hz) {
    const auto count = static_cast<std::size_t>(std::ceil(std::log(high_hz / low_hz) / step)) + 1;
    for (std::size_t i = 0; i < count; ++i) places_hz_.push_back(low_hz * std::exp(step * static_cast<double>(i)));
    here_.assign(slopes_ * count, 0.0);
    next_ = here_;
    at_place_.assign(count, 0.0);
    const auto back = comes_back();
    for (std::size_t s = 0; s < slopes_; ++s)
        for (std::size_t i = 0; i < count; ++i) here_[s * count + i] = (1.0 - away_) * back[i] / static_cast<double>(slopes_);
}

std::vector<double> PlaceFilter::comes_back() const {
    std::vector<double> out(places());
    double sum = 0;
    for (std::size_t i = 0; i < places(); ++i) {
        const double far = std::log(places_hz_[i] / last_hz_) / search_spread;
        sum += out[i] = std::exp(-0.5 * far * far) + 1e-12;
    }
    const double close = hops_lost_ < soon_hops ? 0.8 : 0.4;
    for (double& p : out) p = close * p / sum + (1.0 - close) / static_cast<double>(places());
    return out;
}

void PlaceFilter::predict() {
    const std::size_t count = places();
    const auto n = static_cast<std::ptrdiff_t>(count);
    std::fill(at_place_.begin(), at_place_.end(), 0.0);
    for (std::size_t s = 0; s < slopes_; ++s)
        for (std::size_t i = 0; i < count; ++i) at_place_[i] += here_[s * count + i];
    double there = 0;
    for (const double p : at_place_) there += p;
    const auto back = comes_back();
    const double anew = 1.0 / static_cast<double>(slopes_);
    std::fill(next_.begin(), next_.end(), 0.0);
    for (std::size_t s = 0; s < slopes_; ++s) {
        const std::ptrdiff_t shift = static_cast<std::ptrdiff_t>(s) - reach_;
        const double* own = here_.data() + s * count;
        const double* below = s > 0 ? own - count : own;
        const double* above = s + 1 < slopes_ ? own + count : own;
        double* to = next_.data() + s * count;
        for (std::ptrdiff_t i = std::max<std::ptrdiff_t>(0, -shift); i < n && i + shift < n; ++i) {
            const auto from = static_cast<std::size_t>(i);
            const double slopes = keeps_slope * own[from] + slope_shifts * (below[from] + above[from]) + slope_anew * anew * at_place_[from];
            const double p = (1.0 - leaves) * slopes;
            const double strays = 0.5 * (1.0 - stays_put) * p;
            const auto at = static_cast<std::size_t>(i + shift);
            to[at] += stays_put * p;
            to[at > 0 ? at - 1 : at] += strays;
            to[at + 1 < count ? at + 1 : at] += strays;
        }
        for (std::size_t i = 0; i < count; ++i) to[i] += returns * away_ * back[i] * anew;
    }
    away_ = (1.0 - returns) * away_ + leaves * there;
    here_.swap(next_);
}

void PlaceFilter::update(std::span<const double> log_odds) {
    predict();
    const std::size_t count = places();
    double most = 0.0;
    for (const double one : log_odds) most = std::max(most, one);
    for (std::size_t i = 0; i < count; ++i) {
        const double weight = std::exp(log_odds[i] - most);
        for (std::size_t s = 0; s < slopes_; ++s) here_[s * count + i] *= weight;
    }
    away_ *= std::exp(-most);
    double sum = away_;
    for (const double p : here_) sum += p;
    for (double& p : here_) p /= sum;
    away_ = std::max(away_ / sum, 1e-9);
    ++hops_lost_;
    find_likeliest();
}

void PlaceFilter::find_likeliest() {
    const std::size_t count = places();
    std::fill(at_place_.begin(), at_place_.end(), 0.0);
    for (std::size_t s = 0; s < slopes_; ++s)
        for (std::size_t i = 0; i < count; ++i) at_place_[i] += here_[s * count + i];
    const auto top = static_cast<std::size_t>(std::max_element(at_place_.begin(), at_place_.end()) - at_place_.begin());
    const std::size_t near = std::max(near_places, static_cast<std::size_t>(lobe_hz_ / (step_ * places_hz_[top])));
    const std::size_t from = top > near ? top - near : 0, to = std::min(count - 1, top + near);
    double mass = 0, centre = 0, slope = 0;
    for (std::size_t i = from; i <= to; ++i) {
        mass += at_place_[i];
        centre += at_place_[i] * static_cast<double>(i);
        for (std::size_t s = 0; s < slopes_; ++s)
            slope += here_[s * count + i] * static_cast<double>(static_cast<std::ptrdiff_t>(s) - reach_);
    }
    present_ = mass;
    if (mass <= 0.0) return;
    likeliest_hz_ = places_hz_.front() * std::exp(step_ * centre / mass);
    slope_ = slope / mass;
}

}  // namespace hushtrace
