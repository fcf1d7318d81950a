#pragma once
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "hushtrace/live/capture_session.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

/// Peak and rms of each channel over the blocks added since it was made or reset.
class ChannelLevels {
public:
    explicit ChannelLevels(std::size_t channels) : sums_(channels) {}

    void add(const Block& block) {
        for (std::size_t c = 0; c < sums_.size(); ++c)
            for (const double sample : block.channel(c)) {
                sums_[c].peak = std::max(sums_[c].peak, std::abs(sample));
                sums_[c].squares += sample * sample;
            }
        frames_ += block.frames();
    }
    std::vector<ChannelLevel> levels() const {
        std::vector<ChannelLevel> found;
        for (const Sum& sum : sums_)
            found.push_back(
                {decibels_from_amplitude(sum.peak),
                 dbfs_from_mean_square(frames_ > 0 ? sum.squares / static_cast<double>(frames_) : 0.0)});
        return found;
    }
    void reset() {
        sums_.assign(sums_.size(), Sum{});
        frames_ = 0;
    }

private:
    struct Sum {
        double peak = 0, squares = 0;
    };
    std::vector<Sum> sums_;
    std::uint64_t frames_ = 0;
};

}  // namespace hushtrace
