#pragma once
#include <algorithm>
#include <atomic>
#include <bit>
#include <cstddef>
#include <span>
#include <vector>

namespace hushtrace {

/// A lock-free ring between exactly one writing and one reading thread, such as a device callback and the
/// thread that stores what it delivers. Nothing here waits, allocates (after construction) or throws.
///
/// Positions count for ever and are reduced by the capacity, a power of two, when the memory is touched: so
/// full and empty are told apart without a spare place. The writer publishes with release, the reader takes
/// up with acquire.
template <class Sample>
class Ring {
public:
    /// Holds at least `least` samples (rounded up to a power of two).
    explicit Ring(std::size_t least) : samples_(std::bit_ceil(std::max<std::size_t>(least, 2))) {}

    std::size_t capacity() const noexcept { return samples_.size(); }
    /// For the writing thread: places free. More may come free at any time.
    std::size_t writable() const noexcept {
        return capacity() -
               (written_.load(std::memory_order_relaxed) - read_.load(std::memory_order_acquire));
    }
    /// For the reading thread: samples waiting. More may come at any time.
    std::size_t readable() const noexcept {
        return written_.load(std::memory_order_acquire) - read_.load(std::memory_order_relaxed);
    }

    /// Writes as many of `from` as there is room for, in order; returns how many.
    std::size_t write(std::span<const Sample> from) noexcept {
        const std::size_t count = std::min(from.size(), writable());
        const std::size_t start = written_.load(std::memory_order_relaxed);
        const std::size_t place = start & (capacity() - 1);
        const std::size_t first = std::min(count, capacity() - place);
        std::copy_n(from.data(), first, samples_.data() + place);
        std::copy_n(from.data() + first, count - first, samples_.data());
        written_.store(start + count, std::memory_order_release);
        return count;
    }

    /// Reads as many as are waiting, at most `into.size()`; returns how many.
    std::size_t read(std::span<Sample> into) noexcept {
        const std::size_t count = std::min(into.size(), readable());
        const std::size_t start = read_.load(std::memory_order_relaxed);
        const std::size_t place = start & (capacity() - 1);
        const std::size_t first = std::min(count, capacity() - place);
        std::copy_n(samples_.data() + place, first, into.data());
        std::copy_n(samples_.data(), count - first, into.data() + first);
        read_.store(start + count, std::memory_order_release);
        return count;
    }

private:
    static constexpr std::size_t cache_line = 64;  // both threads write one position each: keep them apart
    std::vector<Sample> samples_;
    alignas(cache_line) std::atomic<std::size_t> written_{0};
    alignas(cache_line) std::atomic<std::size_t> read_{0};
    static_assert(std::atomic<std::size_t>::is_always_lock_free);
};

}  // namespace hushtrace
