#pragma once
// What a finder says of a capture of one channel that comes in blocks.
#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include <catch2/catch.hpp>

#include "hushtrace/measure/capture_faults.hpp"
#include "measure/lossy_tone.hpp"

namespace hushtrace {

inline CaptureFaults faults_in(const std::vector<double>& samples, double rate_hz = 48000, CaptureFaultOptions options = {}) {
    CaptureFaultFinder finder(rate_hz, 1, options);
    for (std::size_t from = 0; from < samples.size(); from += 1024) {
        const auto to = std::min(samples.size(), from + 1024);
        finder.add(one_channel({samples.begin() + static_cast<std::ptrdiff_t>(from),
                                samples.begin() + static_cast<std::ptrdiff_t>(to)}));
    }
    return finder.result();
}

inline std::size_t count_of(const CaptureFaults& faults, CaptureFaultKind kind) {
    return static_cast<std::size_t>(std::count_if(faults.events.begin(), faults.events.end(),
                                                  [kind](const CaptureFault& f) { return f.what == kind; }));
}

inline void require_no_dropout(const CaptureFaults& faults) {
    for (const auto& event : faults.events) UNSCOPED_INFO(event.time_s << " s: " << event.text);
    CHECK(faults.dropout_count == 0);
}

inline void require_one_dropout_at(const CaptureFaults& faults, double time_s, double margin_s = 0.03) {
    for (const auto& event : faults.events) UNSCOPED_INFO(event.time_s << " s: " << event.text);
    REQUIRE(faults.dropout_count == 1);
    CHECK(faults.events.front().time_s == Approx(time_s).margin(margin_s));
}

inline void add_to(std::vector<double>& samples, const std::function<double(double time_s)>& sound, double rate_hz = 48000) {
    for (std::size_t i = 0; i < samples.size(); ++i) samples[i] += sound(static_cast<double>(i) / rate_hz);
}

// A whine of six lines whose engine wanders by 2 percent, as an idling one does.
inline double wandering_whine(double time_s) {
    const double cycles = 712 * time_s + 712 * 0.02 / (2 * std::numbers::pi * 0.7) * (1 - std::cos(2 * std::numbers::pi * 0.7 * time_s));
    double sum = 0;
    for (int line = 1; line <= 6; ++line) sum += std::sin(2 * std::numbers::pi * line * cycles) / line;
    return 0.01 * sum;
}

}  // namespace hushtrace
