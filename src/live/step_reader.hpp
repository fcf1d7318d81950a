#pragma once
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

#include "hushtrace/measure/distortion.hpp"

namespace hushtrace {

/// One channel of one step as it was read.
struct ReadStep {
    double level_dbfs = 0, thd_percent = 0, thd_sd_percent = 0, frequency_hz = 0;
    bool overloaded = false;
};
/// Sound of a step, to be read.
struct StepSound {
    std::size_t step = 0;
    double length_s = 0;
    std::vector<std::vector<double>> channels;  // an empty one isn't read
};
struct StepResult {
    std::size_t step = 0;
    double length_s = 0;
    std::vector<std::optional<ReadStep>> channels;
};

/// Reads steps on a thread of its own: 1.5 s of sound take some 30 ms a channel, too long between two blocks.
class StepReader {
public:
    StepReader(double sample_rate_hz, double tone_hz);
    ~StepReader();
    StepReader(const StepReader&) = delete;
    StepReader& operator=(const StepReader&) = delete;

    void ask(StepSound sound);
    /// Those that are ready.
    std::vector<StepResult> take();
    /// Returns when nothing is under way.
    void wait();

private:
    void work();
    StepResult read(const StepSound& sound) const;

    double rate_, tone_hz_;
    std::mutex mutex_;
    std::condition_variable changed_;
    std::deque<StepSound> asked_;
    std::vector<StepResult> ready_;
    bool busy_ = false, ending_ = false;
    std::thread thread_;  // last: it uses the others
};

}  // namespace hushtrace
