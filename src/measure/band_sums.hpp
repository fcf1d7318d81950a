#pragma once
#include <algorithm>
#include <cstddef>
#include <vector>

namespace hushtrace {

/// A sum over bins from any place to any other; bin k reaches from k - 0.5 to k + 0.5.
class BandSums {
public:
    void set(std::size_t bins, auto value_of) {
        upto_.resize(bins + 1);
        upto_[0] = 0;
        for (std::size_t k = 0; k < bins; ++k) upto_[k + 1] = upto_[k] + value_of(k);
    }
    double over(double centre, double width) const { return below(centre + 0.5 * width) - below(centre - 0.5 * width); }

private:
    double below(double place) const {
        const double at = std::clamp(place + 0.5, 0.0, static_cast<double>(upto_.size() - 1));
        const auto whole = std::min(upto_.size() - 2, static_cast<std::size_t>(at));
        return upto_[whole] + (at - static_cast<double>(whole)) * (upto_[whole + 1] - upto_[whole]);
    }
    std::vector<double> upto_;
};

}  // namespace hushtrace
