#pragma once
#include <cstddef>
#include <memory>
#include <vector>

#include "hushtrace/measure/power_follower.hpp"

namespace hushtrace {

/// Follows the power that short clicks add to the sound above 2 kHz: the mean over the newest 0.8 s, less what usually is
/// there (the median over frames of 1.3 ms, turned into a mean by the chi-squared law; Wilson and Hilferty 1931). Clicks
/// that fill more than a third of the time pass for noise. A new reading every 0.04 s.
class ClickFollower final : public PowerFollower {
public:
    static constexpr double above_hz = 2000.0;
    /// throws Error invalid_request for a rate of 5 kHz or less, or no channel
    ClickFollower(double sample_rate_hz, std::size_t channels);
    ~ClickFollower() override;
    std::vector<FollowedPower> add(const Block& block) override;
    double hop_s() const override;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
