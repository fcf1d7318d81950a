#pragma once
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "hushtrace/live/capture_session.hpp"
#include "hushtrace/live/recent_sound.hpp"

namespace hushtrace {

/// Stores the last minute as a take when asked, on a thread of its own: `kept-1`, `kept-2`, ...
class KeptTakes {
public:
    static constexpr std::size_t most_takes = 20;
    static constexpr double after_s = 10.0;            ///< sound that is waited for after a jump, so that the event lies within
    static constexpr double least_free_mb = 200.0;     ///< that is left on the disk

    /// order  job folder, suffix, and the take's conditions. `sound` must outlive it.
    KeptTakes(const CaptureOrder& order, double sample_rate_hz, const RecentSound& sound);
    ~KeptTakes();
    KeptTakes(const KeptTakes&) = delete;
    KeptTakes& operator=(const KeptTakes&) = delete;

    /// A moment worth knowing in every take that holds it.
    void mark(double time_s, const std::string& text);
    /// Between these times sound was lost on its way: each take that holds some of it is marked.
    void lost(double from_s, double to_s);
    /// Stores at once what there is.
    void keep(double now_s);
    /// Stores it once `after_s` have passed since the moment, which becomes a mark.
    void keep_later(double moment_s, const std::string& text);
    /// Sound has come up to this time.
    void go_on(double now_s);
    /// Stores what still waits, and waits until all is stored.
    void finish(double now_s);

    std::size_t kept() const;
    /// What is worth an event since the last call: kind ("kept", "fault") and text.
    std::vector<std::pair<std::string, std::string>> news();

private:
    void queue(double end_s);
    void work();
    std::pair<std::string, std::string> store(std::size_t number, std::uint64_t end_frame);

    CaptureOrder order_;
    double rate_;
    const RecentSound& sound_;
    std::optional<double> due_s_;
    mutable std::mutex mutex_;
    std::condition_variable changed_;
    std::vector<Mark> marks_;   // by the session's time
    std::vector<std::pair<double, double>> losses_;   // from, to
    std::deque<std::uint64_t> waiting_;   // end frames of those that are to be stored; the first may be under way
    std::size_t kept_ = 0;
    std::vector<std::pair<std::string, std::string>> news_;
    bool ending_ = false;
    std::thread thread_;   // last: it uses all of the above
};

}  // namespace hushtrace
