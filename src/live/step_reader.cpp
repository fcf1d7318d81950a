#include "step_reader.hpp"

#include <algorithm>
#include <utility>

#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {

StepReader::StepReader(double sample_rate_hz, double tone_hz)
    : rate_(sample_rate_hz), tone_hz_(tone_hz), thread_([this] { work(); }) {}

StepReader::~StepReader() {
    {
        const std::lock_guard lock(mutex_);
        ending_ = true;
        changed_.notify_all();
    }
    thread_.join();
}

void StepReader::ask(StepSound sound) {
    const std::lock_guard lock(mutex_);
    asked_.push_back(std::move(sound));
    changed_.notify_all();
}

std::vector<StepResult> StepReader::take() {
    const std::lock_guard lock(mutex_);
    return std::exchange(ready_, {});
}

void StepReader::wait() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return asked_.empty() && !busy_; });
}

StepResult StepReader::read(const StepSound& sound) const {
    StepResult out{sound.step, sound.length_s, {}};
    const double half_width_hz = std::max(40.0, 0.01 * tone_hz_);
    DistortionRequest request;
    request.search = {std::max(0.6 * tone_hz_, tone_hz_ - half_width_hz), std::min(0.5 * rate_, tone_hz_ + half_width_hz)};
    request.lowest_hz = std::min(20.0, 0.5 * tone_hz_);
    for (const std::vector<double>& samples : sound.channels) {
        out.channels.emplace_back();
        if (samples.empty()) continue;
        try {
            const Distortion found = measure_distortion(samples, rate_, request);
            out.channels.back() = ReadStep{found.tone.level_dbfs, found.thd_percent(), found.thd_sd_percent(),
                                           found.tone.frequency_hz, share_pinned_to_rail(samples) > kPinnedOverload};
        } catch (const Error&) {  // too few cycles, or no line there: this channel has no reading
        }
    }
    return out;
}

void StepReader::work() {
    std::unique_lock lock(mutex_);
    for (;;) {
        changed_.wait(lock, [this] { return ending_ || !asked_.empty(); });
        if (ending_) return;
        const StepSound sound = std::move(asked_.front());
        asked_.pop_front();
        busy_ = true;
        lock.unlock();
        StepResult result = read(sound);
        lock.lock();
        ready_.push_back(std::move(result));
        busy_ = false;
        changed_.notify_all();
    }
}

}  // namespace hushtrace
