#include "hiss_watch.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr std::array eighth_difference = {1.0, -8.0, 28.0, -56.0, 70.0, -56.0, 28.0, -8.0, 1.0};
constexpr double block_s = 0.02, least_change_db = 6.0, steady_db = 3.0;
constexpr std::size_t side = 25, between = 3;  // blocks
constexpr double lowest_power = 1e-20;         // digital silence
constexpr std::size_t most_changes = 1000;

struct Quartiles {
    double low, middle, high;
};
Quartiles quartiles(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    return {values[values.size() / 4], values[values.size() / 2], values[3 * values.size() / 4]};
}

}  // namespace

HissWatch::HissWatch(double sample_rate_hz)
    : block_(static_cast<std::size_t>(block_s * sample_rate_hz)),
      lag_(std::max<std::size_t>(1, static_cast<std::size_t>(std::lround(sample_rate_hz / 44100)))),
      rate_(sample_rate_hz),
      recent_(8 * lag_ + 1, 0.0) {}

void HissWatch::add(std::span<const double> samples) {
    for (const double sample : samples) {
        recent_[place_] = sample;
        double difference = 0;
        std::size_t from = place_;
        for (const double factor : eighth_difference) {
            difference += factor * recent_[from];
            from = from >= lag_ ? from - lag_ : from + recent_.size() - lag_;
        }
        place_ = (place_ + 1) % recent_.size();
        sum_ += difference * difference;
        if (++in_block_ < block_) continue;
        levels_db_.push_back(decibels_from_power(std::max(sum_ / static_cast<double>(block_), lowest_power)));
        sum_ = 0;
        in_block_ = 0;
        ++blocks_;
        if (levels_db_.size() > 2 * side + between) levels_db_.pop_front();
        if (levels_db_.size() == 2 * side + between) judge();
    }
}

void HissWatch::judge() {
    const auto first = levels_db_.begin();
    const Quartiles before = quartiles({first, first + side});
    const Quartiles after = quartiles({first + (side + between), levels_db_.end()});
    const bool steady = before.high - before.low < steady_db && after.high - after.low < steady_db;
    const double rise_db = after.middle - before.middle;
    if (!steady || std::abs(rise_db) < least_change_db) {
        end_change();
        return;
    }
    if (std::abs(rise_db) <= std::abs(largest_.rise_db)) return;
    const double middle =
        static_cast<double>(blocks_) - static_cast<double>(side) - 0.5 * static_cast<double>(between);
    largest_ = {middle * static_cast<double>(block_) / rate_, rise_db};
}

void HissWatch::end_change() {
    if (largest_.rise_db != 0 && changes_.size() < most_changes) changes_.push_back(largest_);
    largest_ = {};
}

}  // namespace hushtrace
