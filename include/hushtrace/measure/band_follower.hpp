#pragma once
#include <cstddef>
#include <memory>
#include <vector>

#include "hushtrace/measure/power_follower.hpp"

namespace hushtrace {

enum class FollowedBand {
    hiss,       ///< the noise under the lines, 20 Hz to 20 kHz, lines and clicks left out
    hiss_a,     ///< the same, A-weighted (IEC 61672-1)
    everything  ///< all sound, 20 Hz to 20 kHz
};

/// Follows the level of a whole band. Short-time spectra of 0.085 s, a new one every 0.021 s; hiss is that of the newest
/// second, everything that of the newest 0.5 s. A rate of 40 kHz or less ends the band at half the rate. Digital silence is 0.
class BandFollower final : public PowerFollower {
public:
    /// throws Error invalid_request for a rate not above 0, or no channel
    BandFollower(double sample_rate_hz, std::size_t channels, FollowedBand band);
    ~BandFollower() override;
    std::vector<FollowedPower> add(const Block& block) override;
    double hop_s() const override;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
