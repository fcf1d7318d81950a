#include "interface_input.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace::simulated {

InterfaceChannel::InterfaceChannel(const InterfacePart& part, std::size_t channel, double sample_rate_hz,
                                   std::uint64_t seed)
    : volts_full_scale_(part.volts_full_scale[std::min<std::size_t>(channel, 1)]),
      noise_v_(std::pow(10.0, part.own_noise_dbv / 20.0) * std::sqrt(0.5 * sample_rate_hz / 19980.0)),
      coupling_(OnePole::high_pass(1.5, sample_rate_hz)),
      random_(seed, 701 + channel) {}

double InterfaceChannel::convert(double volts) {
    constexpr double steps = 8388608.0;  // 2^23
    const double sample = (coupling_.next(volts) + noise_v_ * random_.gaussian()) / volts_full_scale_;
    return std::clamp(std::round(sample * steps), -steps, steps - 1.0) / steps;
}

}  // namespace hushtrace::simulated
