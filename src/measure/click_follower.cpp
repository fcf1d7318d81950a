#include "hushtrace/measure/click_follower.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <numbers>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr double frame_s = 1.0 / 750.0, window_s = 0.8, between_s = 0.04;
constexpr std::size_t parts = 8;   // of the window: how far their means differ is the mean's uncertainty

/// Fourth-order high-pass (Butterworth) by the bilinear transform: two sections with Q of 0.541 and 1.307 (Oppenheim and
/// Schafer, Discrete-Time Signal Processing, section 7.1).
class HighPass {
public:
    HighPass(double corner_hz, double rate) {
        const double w = 2.0 * std::numbers::pi * corner_hz / rate;
        for (std::size_t i = 0; i < 2; ++i) {
            const double q = i == 0 ? 0.54119610 : 1.30656296, alpha = std::sin(w) / (2.0 * q), a0 = 1.0 + alpha;
            section_[i] = {0.5 * (1.0 + std::cos(w)) / a0, -2.0 * std::cos(w) / a0, (1.0 - alpha) / a0, 0, 0};
        }
    }
    double next(double x) {
        for (Section& s : section_) {   // transposed direct form II
            const double y = s.b * x + s.first;
            s.first = -2.0 * s.b * x - s.a1 * y + s.second;
            s.second = s.b * x - s.a2 * y;
            x = y;
        }
        return x;
    }

private:
    struct Section { double b, a1, a2, first, second; };
    std::array<Section, 2> section_{};
};

}  // namespace

struct ClickFollower::State {
    State(double rate, std::size_t channels)
        : sample_rate_hz(rate), frame(static_cast<std::size_t>(std::max(8.0, std::round(frame_s * rate)))),
          most_frames(static_cast<std::size_t>(window_s * rate / static_cast<double>(frame))),
          hop_frames(static_cast<std::size_t>(between_s * rate / static_cast<double>(frame))) {
        // independent values in a frame: the share of the band that passes
        freedom = static_cast<double>(frame) * std::max(0.1, 1.0 - 2.0 * above_hz / rate);
        for (std::size_t c = 0; c < channels; ++c) ears.push_back({HighPass(above_hz, rate), 0.0, {}});
    }
    struct Ear {
        HighPass filter;
        double sum;
        std::deque<double> frames;   // mean squares
    };

    void read(const Ear& ear, FollowedPower& into) {
        sorted.assign(ear.frames.begin(), ear.frames.end());
        const auto at = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
        std::nth_element(sorted.begin(), at, sorted.end());
        const double usual = *at / std::pow(1.0 - 2.0 / (9.0 * freedom), 3);
        const double held = static_cast<double>(ear.frames.size());
        std::array<double, parts> part{};
        for (std::size_t i = 0; i < ear.frames.size(); ++i)
            part[i * parts / ear.frames.size()] += ear.frames[i] * static_cast<double>(parts) / held;
        double mean = 0, square = 0;
        for (const double one : part) mean += one / static_cast<double>(parts);
        for (const double one : part) square += (one - mean) * (one - mean);
        // 2 %: noise that isn't quite Gaussian
        const double chance = usual * (0.02 + 2.0 * std::sqrt(2.0 / (freedom * held)));
        const double sd = std::hypot(std::sqrt(square / static_cast<double>(parts * (parts - 1))), 0.5 * chance);
        const double excess = mean - usual;
        const bool drowned = excess < 3.0 * chance;
        into.at_most.push_back(drowned);
        if (drowned) into.mean_square.push_back({std::max(excess, 0.0) + 3.0 * chance, 0.0, LimitedBy::noise});
        else into.mean_square.push_back({excess, sd, LimitedBy::nothing});
    }

    double sample_rate_hz;
    std::size_t frame, most_frames, hop_frames, filled = 0, count = 0;
    double freedom;
    std::vector<Ear> ears;
    std::vector<double> sorted;
};

ClickFollower::ClickFollower(double sample_rate_hz, std::size_t channels) {
    if (!(sample_rate_hz > 2.5 * above_hz) || channels == 0)
        throw Error(ErrorKind::invalid_request, "clicks are followed above 2 kHz: that needs a sample rate above 5 kHz");
    state_ = std::make_unique<State>(sample_rate_hz, channels);
}
ClickFollower::~ClickFollower() = default;
double ClickFollower::hop_s() const {
    return static_cast<double>(state_->hop_frames * state_->frame) / state_->sample_rate_hz;
}

std::vector<FollowedPower> ClickFollower::add(const Block& block) {
    State& s = *state_;
    require_followable(block, s.ears.size());
    std::vector<FollowedPower> out;
    for (std::size_t i = 0; i < block.frames(); ++i) {
        for (std::size_t c = 0; c < s.ears.size(); ++c) {
            const double y = s.ears[c].filter.next(block.channel(c)[i]);
            s.ears[c].sum += y * y;
        }
        if (++s.filled < s.frame) continue;
        s.filled = 0;
        for (State::Ear& ear : s.ears) {
            ear.frames.push_back(ear.sum / static_cast<double>(s.frame));
            ear.sum = 0;
            if (ear.frames.size() > s.most_frames) ear.frames.pop_front();
        }
        if (++s.count % s.hop_frames != 0 || s.ears.front().frames.size() < s.most_frames / 4) continue;
        FollowedPower now;
        now.time_s = static_cast<double>(s.count * s.frame) / s.sample_rate_hz;
        for (const State::Ear& ear : s.ears) s.read(ear, now);
        out.push_back(std::move(now));
    }
    return out;
}

}  // namespace hushtrace
