#pragma once
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// The newest sound, addressed by frames since the start.
class SoundMemory {
public:
    SoundMemory(std::size_t channels, std::size_t frames) : sound_(channels, std::max<std::size_t>(frames, 1)) {}

    void add(const Block& block) {
        for (std::size_t c = 0; c < sound_.channels(); ++c) {
            std::uint64_t at = end_;
            for (const double sample : block.channel(c)) sound_.channel(c)[static_cast<std::size_t>(at++ % sound_.frames())] = sample;
        }
        end_ += block.frames();
    }
    /// Counting of frames begins anew.
    void restart() { end_ = 0; }
    /// Of the asked stretch what is still there.
    std::vector<double> copy(std::size_t channel, std::uint64_t from, std::size_t count) const {
        const std::uint64_t oldest = end_ > sound_.frames() ? end_ - sound_.frames() : 0;
        std::vector<double> out;
        for (std::uint64_t at = std::max(from, oldest); at < std::min(from + count, end_); ++at)
            out.push_back(sound_.channel(channel)[static_cast<std::size_t>(at % sound_.frames())]);
        return out;
    }

private:
    Block sound_;
    std::uint64_t end_ = 0;
};

}  // namespace hushtrace
