#pragma once
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/live/live_snapshot.hpp"

namespace hushtrace {

/// What a hand at a view asks of the session.
enum class LiveRequest {
    start,         ///< begin to read steps, or take the present level as the start
    stop,          ///< end the session
    stepped_up,    ///< "I turned it up one"; the simulated vehicle turns
    stepped_down,  ///< "I turned it back one"
    reference,     ///< the present level becomes the start that changes count from
    keep,          ///< store the last minute as a take
    arm,           ///< store it by itself when the level jumps; again: no longer
    mark           ///< something was changed just now
};

/// Stands between the session, which listens and measures, and the views, which show it and carry requests back.
///
/// The session never waits for a view: a snapshot is handed over by moving a pointer, and a view that is slow
/// sees fewer of them. Any number of threads may read and ask; one publishes.
class LiveBoard {
public:
    static constexpr std::size_t most_events = 2000;   ///< the oldest are forgotten
    static constexpr std::size_t most_requests = 64;   ///< that wait to be taken

    LiveBoard();

    /// The newest snapshot; never null. Its number is 0 before the first.
    std::shared_ptr<const LiveSnapshot> latest() const;
    /// Waits until there is a newer one than `number`, the board is closed, or the time is over.
    std::shared_ptr<const LiveSnapshot> wait_beyond(std::uint64_t number, std::chrono::milliseconds most) const;
    /// Those after `number`, oldest first.
    std::vector<LiveEvent> events_after(std::uint64_t number) const;
    /// Leaves a request for the session. False, and nothing left, where too many wait or the board is closed.
    bool ask(LiveRequest request);

    /// For the session: shows a snapshot; its number is set here.
    void publish(LiveSnapshot snapshot);
    /// For the session: adds an event; its number is set here.
    void tell(double time_s, std::string_view kind, std::string_view text);
    /// For the session: the requests left since the last call, in order.
    std::vector<LiveRequest> take_requests();
    /// Nothing will be published any more; those who wait are let go.
    void close();
    bool closed() const;

private:
    mutable std::mutex mutex_;
    mutable std::condition_variable changed_;
    std::shared_ptr<const LiveSnapshot> latest_ = std::make_shared<LiveSnapshot>();
    std::vector<LiveEvent> events_;   ///< a ring: event n lies at (n - 1) modulo its size
    std::vector<LiveRequest> requests_;
    std::uint64_t last_event_ = 0;
    bool closed_ = false;
};

}  // namespace hushtrace
