#pragma once
#include <algorithm>
#include <numbers>
#include <vector>

namespace hushtrace {

/// Mean of an exponential spread from its median; reorders the values, of which there is one at least.
inline double mean_from_median(std::vector<float>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return static_cast<double>(*middle) / std::numbers::ln2;
}

}  // namespace hushtrace
