#include "hushtrace/live/live_board.hpp"

#include <algorithm>
#include <utility>

namespace hushtrace {

std::shared_ptr<const LiveSnapshot> LiveBoard::latest() const {
    const std::lock_guard lock(mutex_);
    return latest_;
}

std::shared_ptr<const LiveSnapshot> LiveBoard::wait_beyond(std::uint64_t number,
                                                           std::chrono::milliseconds most) const {
    std::unique_lock lock(mutex_);
    changed_.wait_for(lock, most, [&] { return closed_ || latest_->number > number; });
    return latest_;
}

std::vector<LiveEvent> LiveBoard::events_after(std::uint64_t number) const {
    const std::lock_guard lock(mutex_);
    const auto from =
        std::upper_bound(events_.begin(), events_.end(), number,
                         [](std::uint64_t value, const LiveEvent& event) { return value < event.number; });
    return {from, events_.end()};
}

bool LiveBoard::ask(LiveRequest request) {
    const std::lock_guard lock(mutex_);
    if (closed_ || requests_.size() >= most_requests) return false;
    requests_.push_back(request);
    return true;
}

void LiveBoard::publish(LiveSnapshot snapshot) {
    auto next = std::make_shared<LiveSnapshot>(std::move(snapshot));
    std::shared_ptr<const LiveSnapshot> before;  // freed after the lock
    {
        const std::lock_guard lock(mutex_);
        next->number = latest_->number + 1;
        before = std::exchange(latest_, std::move(next));
    }
    changed_.notify_all();
}

void LiveBoard::tell(double time_s, std::string kind, std::string text) {
    const std::lock_guard lock(mutex_);
    events_.push_back({++last_event_, time_s, std::move(kind), std::move(text)});
    if (events_.size() > most_events) events_.pop_front();
}

std::vector<LiveRequest> LiveBoard::take_requests() {
    const std::lock_guard lock(mutex_);
    return std::exchange(requests_, {});
}

void LiveBoard::close() {
    {
        const std::lock_guard lock(mutex_);
        closed_ = true;
    }
    changed_.notify_all();
}

bool LiveBoard::closed() const {
    const std::lock_guard lock(mutex_);
    return closed_;
}

}  // namespace hushtrace
