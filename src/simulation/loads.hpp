#pragma once
#include <cstdint>
#include <optional>
#include <vector>

#include "filters.hpp"
#include "random.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// One consumer on the 12 V line and the changing part of its current.
class Load {
public:
    Load(const LoadPart& part, double sample_period_s, std::uint64_t seed);
    void switch_to(bool on);
    bool on() const { return on_; }
    const LoadPart& part() const { return part_; }
    double mean_a() const;  ///< while it is on
    /// Current less its mean [A].
    double advance();

private:
    double chopped();
    double commutated();

    LoadPart part_;
    double period_s_;
    Random random_;
    bool on_ = false;
    EventShape edge_ = EventShape::impulse();
    EventSum edges_;
    double chop_rev_ = 0, height_ = 0;
    bool high_ = false;
    Wander speed_;
    std::uint64_t count_ = 0;
    double turn_rev_ = 0, speed_now_ = 1;
};

/// Ground bounce of a small switching converter at light load: pulses at a rate that hunts by a few percent,
/// and hiss.
class ConverterHash {
public:
    ConverterHash(const DevicePart& part, double sample_rate_hz, double sample_period_s, std::uint64_t seed);
    double advance();  ///< [V]

private:
    DevicePart part_;
    double period_s_;
    Random random_;
    Wander drift_;
    EventShape pulse_;
    EventSum sum_;
    std::uint64_t count_ = 0;
    double rate_hz_, rev_ = 0, gain_ = 1;
};

/// The mains frequency with its harmonics, drifting by some hundredths of a hertz: a sine of rms 1 and odd
/// harmonics above it, plus the even ones that rectifiers leave.
class Mains {
public:
    Mains(double frequency_hz, double harmonic_share, double sample_rate_hz, double sample_period_s,
          std::uint64_t seed);
    double advance();

private:
    double frequency_hz_, period_s_;
    Random random_;
    Wander drift_;
    std::uint64_t count_ = 0;
    double rev_ = 0, drift_hz_ = 0;
    std::vector<double> peaks_;
};

}  // namespace hushtrace::simulated
