#pragma once
#include <span>
#include <vector>

namespace hushtrace {

/// Sound at a lower rate, in step with what it was made from: sample i stands at time i / rate_hz.
struct ThinnedSound {
    std::vector<double> samples;
    double rate_hz = 0;
};

/// Every n-th sample behind a low-pass (linear phase, Kaiser's window, images 80 dB down), n as large as a band up to
/// `highest_hz` allows: half the samples are half the work.
ThinnedSound thinned(std::span<const double> samples, double sample_rate_hz, double highest_hz);

}  // namespace hushtrace
