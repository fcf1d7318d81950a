#pragma once
#include <cstddef>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/measure/power_follower.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// The moment at which something became louder at once.
struct Jump {
    double time_s = 0;   ///< since the first sample
    double rise_db = 0;
    std::string text;    ///< one plain sentence
};

/// Watches for jumps of the level, as an intermittent fault makes them.
///
/// Three things are watched in each channel: the followed source, all sound, and crackle (frames of 5 ms of the sound's
/// differences, which a click stands out of). Each is held against what it usually is: its median over the newest ten
/// seconds; of crackle the loudest of a hundred frames, so that even clicks (ignition) are no jump. A jump is a rise of
/// 6 dB and more over that within a second which holds for 50 ms (crackle: comes again within a second, 50 ms and more
/// apart). A level that climbs more slowly is none.
///
/// What rises shows in several of the three, crackle first: a jump is told 0.4 s late, by the one that says most, with the
/// moment at which it showed first. The followed source goes before clicks (quiet lies between them), these before all
/// sound; what rises in the differences alone and stays is told as high-pitched sound. After a jump that was taken
/// nothing is told for a minute.
class JumpWatch {
public:
    static constexpr double least_rise_db = 6.0, quiet_s = 60.0, settling_s = 3.0, waits_s = 0.4;

    /// throws Error invalid_request for no channel or a rate not above 0
    JumpWatch(std::size_t channels, double sample_rate_hz);
    ~JumpWatch();
    JumpWatch(JumpWatch&&) noexcept;
    JumpWatch& operator=(JumpWatch&&) noexcept;
    void add(const Block& block);
    /// A reading of what is followed; an "at most" is no jump, but what comes out from behind it by 6 dB is.
    void add(const FollowedPower& reading, const std::string& name);
    /// Takes the jump that was found. One that nobody takes begins no minute of quiet.
    std::optional<Jump> jump();
    /// Jumps count from here on: none waits, and no minute of quiet runs.
    void watch_from_now();

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
