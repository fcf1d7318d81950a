#pragma once
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <mutex>
#include <optional>
#include <thread>

#include "hushtrace/measure/capture_faults.hpp"
#include "hushtrace/signal/block.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {

/// Stores a capture and looks for faults in it on a thread of its own, so that a slow disk does not hold up
/// the transfer from the device.
class TakeRecorder {
public:
    /// throws Error as TakeWriter's constructor
    TakeRecorder(const std::filesystem::path& file, double sample_rate_hz, std::size_t channels,
                 const CaptureFaultOptions& options);
    ~TakeRecorder();
    TakeRecorder(const TakeRecorder&) = delete;
    TakeRecorder& operator=(const TakeRecorder&) = delete;

    /// Hands a block over; waits only when the disk is more than half a minute behind.
    void add(Block block);
    /// Whether the disk failed: what is added from then on is left out.
    bool failed() const;
    std::uint64_t overloads_so_far() const;
    std::uint64_t dropouts_so_far() const;

    struct Result {
        std::uint64_t frames = 0;  ///< stored
        CaptureFaults faults;
        std::optional<Error> failure;
    };
    /// Stores what is left, closes the file, ends the thread. Once.
    Result finish();

private:
    void work();
    void store(const Block& block);
    std::optional<Block> next();

    TakeWriter writer_;
    CaptureFaultFinder finder_;
    std::size_t most_waiting_frames_;
    mutable std::mutex mutex_;
    std::condition_variable changed_;
    std::deque<Block> waiting_;
    std::size_t waiting_frames_ = 0;
    bool ending_ = false;
    std::optional<Error> failure_;
    std::uint64_t overloads_ = 0, dropouts_ = 0;
    std::thread thread_;  // last: it uses all of the above
};

}  // namespace hushtrace
