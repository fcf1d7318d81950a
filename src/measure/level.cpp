#include "hushtrace/measure/level.hpp"

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {

void LevelMeter::add(std::span<const double> samples) {
    // Sums of one call are kept apart from the total, so that a long take loses no digits.
    double sum = 0, squares = 0, largest = 0;
    for (const double x : samples) {
        if (!std::isfinite(x)) throw Error(ErrorKind::not_finite, "level: a sample is not a finite number");
        sum += x;
        squares += x * x;
        largest = std::max(largest, std::abs(x));
    }
    sum_ += sum;
    sum_of_squares_ += squares;
    largest_ = std::max(largest_, largest);
    count_ += samples.size();
}

Level LevelMeter::result() const {
    if (count_ == 0) throw Error(ErrorKind::empty_input, "level: no samples");
    const double n = static_cast<double>(count_);
    return {dbfs_from_mean_square(sum_of_squares_ / n), decibels_from_amplitude(largest_), sum_ / n};
}

Level measure_level(std::span<const double> samples) {
    LevelMeter meter;
    meter.add(samples);
    return meter.result();
}

}  // namespace hushtrace
