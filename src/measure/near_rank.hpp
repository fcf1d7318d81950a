#pragma once
#include <algorithm>
#include <cstddef>
#include <span>
#include <vector>

namespace hushtrace {

/// What std::nth_element puts at a rank, sooner where a guess lies near it: only what is close to the guess is sorted.
template <class Number> class NearRank {
public:
    Number find(std::span<const Number> values, std::size_t rank, Number guess) {
        const Number low = Number(0.75) * guess, high = Number(1.3) * guess;
        if (near_.size() < values.size()) near_.resize(values.size());
        std::size_t below = 0, count = 0;
        for (const Number value : values) {  // no branches: which way a value goes can't be foreseen
            near_[count] = value;
            count += static_cast<std::size_t>(value >= low && value <= high);
            below += static_cast<std::size_t>(value < low);
        }
        if (rank < below || rank >= below + count) {
            std::copy(values.begin(), values.end(), near_.begin());
            below = 0;
            count = values.size();
        }
        const auto place = near_.begin() + static_cast<std::ptrdiff_t>(rank - below);
        std::nth_element(near_.begin(), place, near_.begin() + static_cast<std::ptrdiff_t>(count));
        return *place;
    }

private:
    std::vector<Number> near_;
};

}  // namespace hushtrace
