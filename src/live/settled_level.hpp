#pragma once
#include <cstddef>
#include <deque>
#include <optional>

#include "hushtrace/measure/power_follower.hpp"

namespace hushtrace {

/// One channel's reading as a level.
struct LevelNow {
    double time_s = 0;
    std::optional<double> level_db, sd_db;   ///< unset for digital silence
    bool at_most = false;
    std::optional<double> frequency_hz;
};

/// The newest second of readings: the level that can be relied on, and whether it holds still.
class SettledLevel {
public:
    static constexpr double over_s = 1.0;

    void add(const LevelNow& reading);
    void clear() { readings_.clear(); }
    /// The mean over the second, in power; nothing before a second is full, where it moves by more than its uncertainty and
    /// 1.5 dB, where it is hidden part of the time, and for silence.
    std::optional<LevelNow> steady() const;

private:
    std::deque<LevelNow> readings_;
};

}  // namespace hushtrace
