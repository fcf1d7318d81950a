#pragma once
#include <cstdint>

#include "filters.hpp"
#include "random.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// One input of the audio interface: coupling capacitor, its own noise, a 24-bit converter that stops at full
/// scale.
class InterfaceChannel {
public:
    InterfaceChannel(const InterfacePart& part, std::size_t channel, double sample_rate_hz,
                     std::uint64_t seed);
    /// [V] in, sample value out.
    double convert(double volts);

private:
    double volts_full_scale_, noise_v_;
    OnePole coupling_;
    Random random_;
};

}  // namespace hushtrace::simulated
