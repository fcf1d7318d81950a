#include "hushtrace/live/share_feed.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <thread>

#include "hushtrace/live/live_json.hpp"

namespace hushtrace {

ShareFeed::ShareFeed(const LiveBoard& board, std::uint64_t after) : board_(board), events_sent_(after) {
    const auto events = board.events_after(0);
    if (after > (events.empty() ? 0 : events.back().number)) events_sent_ = 0;
}

std::string ShareFeed::next(std::chrono::milliseconds most) {
    if (over_) return {};
    if (!first_) {
        std::this_thread::sleep_until(std::min(last_snapshot_ + least_interval, Clock::now() + most));
        board_.wait_beyond(snapshot_sent_, most);
    }
    // Closed is asked first: what is read thereafter is then the last of it. The snapshot comes before the events, so
    // that none that it speaks of is missing.
    const bool closed = board_.closed();
    const auto snapshot = board_.latest();
    const auto events = board_.events_after(events_sent_);
    std::string text;
    if (first_) text += "retry: 1000\n\n";
    if (!events.empty() && events.front().number > events_sent_ + 1)
        text += fmt::format("event: gap\ndata: {{\"missed\":{}}}\n\n", events.front().number - events_sent_ - 1);
    for (const LiveEvent& event : events) {
        text += fmt::format("id: {}\nevent: event\ndata: {}\n\n", event.number, live_json(event));
        events_sent_ = event.number;
    }
    const auto now = Clock::now();
    const bool due = first_ || closed || now - last_snapshot_ >= least_interval;
    if (due && snapshot->number > snapshot_sent_) {
        text += fmt::format("event: snapshot\ndata: {}\n\n", live_json(*snapshot));
        snapshot_sent_ = snapshot->number;
        last_snapshot_ = now;
    }
    if (closed) text += "event: closed\ndata: {}\n\n";
    if (text.empty() && now - last_text_ >= beat_interval) text = "event: beat\ndata: {}\n\n";
    if (!text.empty()) last_text_ = now;
    first_ = false;
    over_ = closed;
    return text;
}

std::uint64_t event_number(std::string_view text) {
    std::uint64_t number = 0;
    if (text.empty() || text.size() > 19) return 0;
    const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), number);
    return fault == std::errc{} && end == text.data() + text.size() ? number : 0;
}

}  // namespace hushtrace
