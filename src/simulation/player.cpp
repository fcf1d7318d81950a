#include "player.hpp"

#include <algorithm>
#include <cmath>

#include "filters.hpp"

namespace hushtrace::simulated {
namespace {

constexpr std::size_t positions = 1024;  // rows between two frames; between rows it goes straight

}  // namespace

Player::Player(const std::filesystem::path& file, double sample_rate_hz, double clock_ratio)
    : reader_(file),
      file_rate_hz_(reader_.sample_rate_hz()),
      step_(file_rate_hz_ / sample_rate_hz * clock_ratio) {
    // Towards a lower rate the band limit moves down, and the filter grows by as much.
    const double narrower = std::min(1.0, sample_rate_hz / file_rate_hz_);
    half_taps_ = static_cast<std::size_t>(std::ceil(32.0 / narrower));
    const std::size_t taps = 2 * half_taps_;
    table_.resize((positions + 1) * taps);
    for (std::size_t p = 0; p <= positions; ++p) {
        double sum = 0;
        for (std::size_t i = 0; i < taps; ++i) {
            const double t = static_cast<double>(i) - (static_cast<double>(half_taps_) - 1.0) -
                             static_cast<double>(p) / positions;
            sum += table_[p * taps + i] =
                kaiser_sinc(t, static_cast<double>(half_taps_), 0.46 * narrower, 10.0);
        }
        for (std::size_t i = 0; i < taps; ++i) table_[p * taps + i] /= sum;
    }
    for (auto& one : history_) one.assign(2 * taps, 0.0);
}

void Player::feed() {
    if (!ended_ && read_ == block_.frames()) {
        read_ = 0;
        ended_ = reader_.read(block_, 4096) == 0;
    }
    std::array<double, 2> frame = {0.0, 0.0};
    if (!ended_) {
        frame[0] = block_.channel(0)[read_];
        frame[1] = block_.channels() > 1 ? block_.channel(1)[read_] : frame[0];
        ++read_;
    }
    silent_frames_ = frame[0] == 0.0 && frame[1] == 0.0 ? silent_frames_ + 1 : 0;
    const std::size_t taps = 2 * half_taps_;
    for (std::size_t c = 0; c < 2; ++c) history_[c][position_] = history_[c][position_ + taps] = frame[c];
    position_ = position_ + 1 == taps ? 0 : position_ + 1;
}

double Player::interpolate(const std::vector<double>& history, double fraction) const {
    const std::size_t taps = 2 * half_taps_;
    const double place = fraction * positions;
    const auto row = std::min(static_cast<std::size_t>(place), positions - 1);
    const double beyond = place - static_cast<double>(row);
    const double* near = table_.data() + row * taps;
    const double* far = near + taps;
    const double* window = history.data() + position_;
    double at_near = 0, at_far = 0;
    for (std::size_t i = 0; i < taps; ++i) {
        at_near += near[i] * window[i];
        at_far += far[i] * window[i];
    }
    return at_near + beyond * (at_far - at_near);
}

std::array<double, 2> Player::next() {
    place_ += step_;
    while (place_ >= 1.0) {
        feed();
        place_ -= 1.0;
    }
    if (silent_frames_ > 2 * half_taps_) return {0.0, 0.0};
    const double left = interpolate(history_[0], place_);
    const double right = interpolate(history_[1], place_);
    return {left, right};
}

}  // namespace hushtrace::simulated
