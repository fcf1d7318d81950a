#pragma once
#include <array>
#include <cstdint>
#include <vector>

#include "clipper.hpp"
#include "filters.hpp"
#include "random.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// The amplifier behind its input, two channels: gain, its own noise, what its supply's ripple leaves at its
/// output, rails.
class PowerAmplifier {
public:
    PowerAmplifier(const AmplifierPart& part, double sample_rate_hz, std::uint64_t seed);

    void switch_to(bool on) { on_ = on; }
    /// One sample of both outputs [V] against its own ground, Clipper::delay samples late; silence while it
    /// is off.
    ///   input_v      [V] between its input's centre and what it takes for the signal's return
    ///   terminal_v   [V] changing part of the voltage at its supply terminals
    std::array<double, 2> advance(const std::array<double, 2>& input_v, double terminal_v);

private:
    double gain_, noise_v_, rejection_gain_;
    OnePole rejection_;
    std::vector<Clipper> rails_;
    Random random_;
    bool on_ = true;
};

}  // namespace hushtrace::simulated
