#pragma once
#include <cstddef>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/live/follow_task.hpp"
#include "hushtrace/live/live_session.hpp"
#include "hushtrace/live/recent_sound.hpp"
#include "kept_takes.hpp"

namespace hushtrace {

/// All that a session does for LiveTask::follow: follows a source, remembers the last minute, stores it when told to or,
/// armed, when a level jumps.
class FollowSession {
public:
    static constexpr double remembers_s = 60.0;

    /// throws Error as FollowTask
    FollowSession(const LiveOrder& order, double sample_rate_hz, bool waits);

    /// breaks  how often the link has owned up to lost sound so far
    void add(const Block& block, std::uint64_t breaks);
    void reference() { task_.take_reference(); }
    void keep() { keeper_.keep(heard_s()); }
    void arm();
    void mark() { keeper_.mark(heard_s(), "mark"); }
    /// Kind and text of what happened since the last call.
    std::vector<std::pair<std::string, std::string>> take_events();
    void fill(LiveSnapshot& into) const;
    /// Stores what still waits to be.
    void finish() { keeper_.finish(heard_s()); }
    std::size_t kept() const { return keeper_.kept(); }

private:
    void count_overloads(const Block& block);
    double heard_s() const { return static_cast<double>(frames_) / rate_; }

    double rate_;
    FollowTask task_;
    RecentSound recent_;
    KeptTakes keeper_;
    bool armed_;
    std::uint64_t frames_ = 0, overloads_ = 0, breaks_ = 0;
    double overload_s_ = 0;
    std::vector<std::pair<std::string, std::string>> events_;
};

}  // namespace hushtrace
