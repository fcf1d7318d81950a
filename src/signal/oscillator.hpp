#pragma once
#include <cmath>
#include <cstdint>
#include <numbers>

namespace hushtrace {

/// A sine whose phase is a 64-bit integer that wraps once a cycle, so nothing drifts however long it runs:
/// the frequency is off by at most rate / 2^64 (less than one cycle in a million years at 48 kHz).
class Oscillator {
public:
    Oscillator(double frequency_hz, double sample_rate_hz)
        : step_(static_cast<std::uint64_t>(std::llroundl(static_cast<long double>(frequency_hz) /
                                                         static_cast<long double>(sample_rate_hz) * 0x1p63L))
                << 1U) {}
    double next() {
        // Read as a signed number the phase lies in -1/2..1/2 cycle, where the sine keeps its full precision.
        const double cycles = static_cast<double>(static_cast<std::int64_t>(phase_)) * 0x1p-64;
        phase_ += step_;
        return std::sin(2.0 * std::numbers::pi * cycles);
    }

private:
    std::uint64_t step_, phase_ = 0;
};

}  // namespace hushtrace
