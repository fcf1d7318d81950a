#include "take_recorder.hpp"

#include <utility>

namespace hushtrace {
namespace {
constexpr double most_behind_s = 30.0;
}

TakeRecorder::TakeRecorder(const std::filesystem::path& file, double sample_rate_hz, std::size_t channels,
                           const CaptureFaultOptions& options)
    : writer_(file, sample_rate_hz, channels),
      finder_(sample_rate_hz, channels, options),
      most_waiting_frames_(static_cast<std::size_t>(most_behind_s * sample_rate_hz)),
      thread_([this] { work(); }) {}

TakeRecorder::~TakeRecorder() {
    if (thread_.joinable()) finish();
}

void TakeRecorder::add(Block block) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return waiting_frames_ <= most_waiting_frames_ || failure_; });
    if (failure_) return;
    waiting_frames_ += block.frames();
    waiting_.push_back(std::move(block));
    changed_.notify_all();
}

bool TakeRecorder::failed() const {
    const std::lock_guard lock(mutex_);
    return failure_.has_value();
}

std::uint64_t TakeRecorder::overloads_so_far() const {
    const std::lock_guard lock(mutex_);
    return overloads_;
}

std::uint64_t TakeRecorder::dropouts_so_far() const {
    const std::lock_guard lock(mutex_);
    return dropouts_;
}

TakeRecorder::Result TakeRecorder::finish() {
    {
        const std::lock_guard lock(mutex_);
        ending_ = true;
        changed_.notify_all();
    }
    thread_.join();
    try {
        writer_.close();
    } catch (const Error& error) {
        if (!failure_) failure_ = error;
    }
    return {writer_.frames_written(), finder_.result(), failure_};
}

std::optional<Block> TakeRecorder::next() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return ending_ || !waiting_.empty(); });
    if (waiting_.empty()) return std::nullopt;
    Block block = std::move(waiting_.front());
    waiting_.pop_front();
    waiting_frames_ -= block.frames();
    changed_.notify_all();
    return block;
}

void TakeRecorder::store(const Block& block) {
    if (failed()) return;
    writer_.write(block);
    finder_.add(block);
    const std::lock_guard lock(mutex_);
    overloads_ = finder_.overloads_so_far();
    dropouts_ = finder_.dropouts_so_far();
}

void TakeRecorder::work() {
    while (const auto block = next()) {
        std::optional<Error> failure;
        try {
            store(*block);
        } catch (const Error& error) {
            failure = error;
        } catch (const std::exception& error) {  // no memory, most likely: nothing more can be stored
            failure = Error(ErrorKind::disk_failed, error.what());
        }
        if (!failure) continue;
        const std::lock_guard lock(mutex_);
        failure_ = std::move(failure);
        changed_.notify_all();
    }
}

}  // namespace hushtrace
