#pragma once
#include <chrono>
#include <cstdint>
#include <string>
#include <string_view>

#include "hushtrace/live/live_board.hpp"

namespace hushtrace {

/// What one phone is sent, as the text of server-sent events (WHATWG HTML, section 9.2): "event" with the event's
/// number as its id, "snapshot" with the newest snapshot, "gap" with how many events are forgotten, "beat" when nothing
/// else came for a while, "closed" at the end. Every event after the last one the phone has is sent, in order; of
/// snapshots the newest alone.
class ShareFeed {
public:
    static constexpr std::chrono::milliseconds least_interval{60};  ///< between two snapshots: 16 a second at most
    static constexpr std::chrono::milliseconds beat_interval{2000};

    /// `after`: number of the last event that the phone has; a number beyond the board's counts as 0. The board must
    /// outlive the feed.
    ShareFeed(const LiveBoard& board, std::uint64_t after);
    /// Waits for news, `most` at the longest, and gives the text to be written; empty when there is none.
    std::string next(std::chrono::milliseconds most);
    /// The board was closed, and all of it was given.
    bool over() const { return over_; }

private:
    using Clock = std::chrono::steady_clock;
    const LiveBoard& board_;
    std::uint64_t events_sent_, snapshot_sent_ = 0;
    bool first_ = true, over_ = false;
    Clock::time_point last_snapshot_{}, last_text_{};
};

/// The number in a Last-Event-ID header or in ?after=: digits alone, at most 19 of them; 0 for anything else.
std::uint64_t event_number(std::string_view text);

}  // namespace hushtrace
