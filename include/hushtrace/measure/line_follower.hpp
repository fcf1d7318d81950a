#pragma once
#include <cstddef>
#include <memory>
#include <vector>

#include "hushtrace/measure/power_follower.hpp"

namespace hushtrace {

/// Lines that keep their ratios: a whine and its harmonics, hum at multiples of the mains.
struct LineFamily {
    double frequency_hz = 0;            ///< of the leading line, the strongest: where it is looked for first
    std::vector<double> ratios = {1.0}; ///< of its lines to the leading one, 1 among them
    double low_hz = 0, high_hz = 0;     ///< where the leading line may go
    bool moves = true;                  ///< something that turns makes it; else it holds still but for clocks
    double most_slope = 1.0;            ///< largest relative change of frequency in one second (moves)
};

/// Follows a family of lines as the sound comes, and tells its level again and again.
///
/// Short-time spectra (0.085 s, steady families 0.34 s; a new one every 0.021 or 0.043 s) are held against the noise round
/// each line. A forward filter (Rabiner 1989, Proc. IEEE 77(2)) over frequency and its slope, with a state for "not there",
/// weighs what all lines of the family say together. Lines that stand while the family is elsewhere are remembered, count
/// as noise where the family crosses them, and are no place for it to be found again.
///
/// The level is the mean over the newest 0.5 s (steady 0.33 s) of all power in a band round each line, wide enough for what
/// the engine's firing modulates, less that of the noise beside it, so a line that moves within a window is read in full.
/// Lines with less than some 3 % of the power are left out of it. It stands 0.6 s (steady 0.7 s) after a step.
/// Of a line that sweeps faster than `most_slope` nothing is promised. Memory and work do not grow with the time.
class LineFollower final : public PowerFollower {
public:
    /// throws Error invalid_request: a frequency, ratio, rate or slope not above 0, no ratio 1, low above high, no channel, or
    /// a leading line beyond 0.45 of the rate. Of the other lines those that reach beyond are left out.
    LineFollower(double sample_rate_hz, std::size_t channels, const LineFamily& family);
    ~LineFollower() override;
    LineFollower(LineFollower&&) noexcept;
    LineFollower& operator=(LineFollower&&) noexcept;
    std::vector<FollowedPower> add(const Block& block) override;
    /// Looks through a stretch of some seconds, most usefully the first, for lines that hold still beside the family's own
    /// places: they are no place for it. Nothing happens for less than 1.5 s, or a family that holds still itself.
    void learn_others(const Block& stretch);
    double hop_s() const override;

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace hushtrace
