#pragma once
#include <optional>
#include <vector>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// What is followed, now.
struct FollowedPower {
    double time_s = 0;                  ///< end of the newest sound in it, from the first sample on
    std::optional<double> frequency_hz; ///< of the leading line; unset while it can't be made out, or there are no lines
    /// [channels] full scale squared, the noise beside it taken off. Where it drowns (`at_most`): what it may have at most,
    /// sd 0.
    std::vector<Reading> mean_square;
    std::vector<bool> at_most;
};

/// Tells the level of something again and again while the sound comes.
class PowerFollower {
public:
    virtual ~PowerFollower() = default;
    /// Returns the readings that became complete, oldest first: one each hop.
    ///   throws Error invalid_request for another number of channels, not_finite
    virtual std::vector<FollowedPower> add(const Block& block) = 0;
    virtual double hop_s() const = 0;
};

/// Refuses what can't be measured: throws Error as PowerFollower::add.
void require_followable(const Block& block, std::size_t channels);

}  // namespace hushtrace
