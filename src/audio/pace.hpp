#pragma once
#include <chrono>
#include <cstddef>
#include <thread>

namespace hushtrace::audio {

/// Holds a link that is faster than sound back to real time: frame n is let through n / rate after start().
class Pace {
public:
    Pace(bool paced, double sample_rate_hz) : paced_(paced), rate_(sample_rate_hz) {}
    void start() {
        begun_ = std::chrono::steady_clock::now();
        frames_ = 0;
    }
    void wait_for(std::size_t frames) {
        frames_ += frames;
        if (!paced_) return;
        const std::chrono::duration<double> due(static_cast<double>(frames_) / rate_);
        std::this_thread::sleep_until(begun_ +
                                      std::chrono::duration_cast<std::chrono::steady_clock::duration>(due));
    }

private:
    bool paced_;
    double rate_;
    std::size_t frames_ = 0;
    std::chrono::steady_clock::time_point begun_;
};

}  // namespace hushtrace::audio
