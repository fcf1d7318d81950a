#include "hushtrace/live/live_board.hpp"

#include <algorithm>
#include <utility>

namespace hushtrace {

/// All memory for events from the start: kept between what comes and goes every moment, a piece for each would hold a page of its own.
LiveBoard::LiveBoard() : events_(most_events) {
    constexpr std::size_t usual_text = 120;
    for (LiveEvent& place : events_) place.text.reserve(usual_text);
}

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
    const std::uint64_t forgotten = last_event_ - std::min<std::uint64_t>(last_event_, most_events);
    std::vector<LiveEvent> after;
    for (std::uint64_t one = std::max(number, forgotten); one < last_event_; ++one) after.push_back(events_[one % most_events]);
    return after;
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

void LiveBoard::tell(double time_s, std::string_view kind, std::string_view text) {
    const std::lock_guard lock(mutex_);
    LiveEvent& place = events_[last_event_ % most_events];
    place.number = ++last_event_;
    place.time_s = time_s;
    place.kind = kind;
    place.text = text;
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
