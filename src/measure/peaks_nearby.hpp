#pragma once
#include <algorithm>
#include <cstddef>
#include <deque>
#include <span>
#include <vector>

namespace hushtrace {

/// Raises each floor[k] to `share` of the highest power within a tenth of k and 20 bins on either side; bins that are
/// `left_out` are no peaks.
template <class LeftOut>
void raise_to_peaks(std::vector<double>& floor, std::span<const double> power, double share, LeftOut left_out) {
    std::deque<std::size_t> falling;   // bins ahead whose power none after them exceeds
    std::size_t next = 0;
    for (std::size_t k = 0; k < floor.size(); ++k) {
        const std::size_t reach = 20 + k / 10;
        for (; next < std::min(floor.size(), k + reach + 1); ++next) {
            if (left_out(next)) continue;
            while (!falling.empty() && power[falling.back()] <= power[next]) falling.pop_back();
            falling.push_back(next);
        }
        while (!falling.empty() && falling.front() + reach < k) falling.pop_front();
        if (!falling.empty()) floor[k] = std::max(floor[k], share * power[falling.front()]);
    }
}

}  // namespace hushtrace
