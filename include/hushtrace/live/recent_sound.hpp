#pragma once
#include <cstddef>
#include <cstdint>
#include <deque>
#include <mutex>
#include <utility>
#include <vector>

#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// The newest so many seconds of all channels, in memory that is taken once.
///
/// One thread adds; any may copy meanwhile. A copy is made in short pieces, so that the thread that adds waits for one of
/// them at most (some 50 microseconds), never for the whole.
class RecentSound {
public:
    static constexpr double most_seconds = 600.0;
    /// throws Error invalid_request for no channel, a rate not above 0, seconds outside 0 to most_seconds
    RecentSound(std::size_t channels, double sample_rate_hz, double seconds);
    /// throws Error invalid_request for another number of channels
    void add(const Block& block);
    /// Everything that is held, oldest first; less while not so much has come.
    Block copy() const;
    /// The same as it was when `end_frame` frames had been added: its last frame is the one before. What has been written over
    /// since (two seconds may come first) is missing at its beginning. `overtaken` is set to how many of its frames were written
    /// over while it was made: silence stands for them. throws Error invalid_request for an end that hasn't come
    Block copy_until(std::uint64_t end_frame, std::uint64_t* overtaken = nullptr) const;
    /// The same in blocks of so many frames (the last may be shorter): each can be let go as soon as it has been used.
    std::deque<Block> parts_until(std::uint64_t end_frame, std::size_t part_frames, std::uint64_t* overtaken = nullptr) const;
    std::uint64_t added() const;

private:
    void copy_into(Block& out, std::uint64_t first, std::uint64_t* overtaken) const;
    std::pair<std::uint64_t, std::size_t> held(std::uint64_t end_frame) const;   // first frame, how many

    std::size_t channels_, held_frames_, ring_frames_;
    mutable std::mutex mutex_;
    std::vector<std::vector<float>> ring_;   // [channels][ring_frames_]
    std::uint64_t added_ = 0;
};

}  // namespace hushtrace
