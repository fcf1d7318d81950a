#pragma once
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

#include "hushtrace/audio/link.hpp"
#include "hushtrace/signal/error.hpp"

/// A link made for tests: a lead from its output to its inputs, or a steady sine, and faults at chosen
/// frames.
class FakeLink final : public hushtrace::Link {
public:
    bool looped_back = false;  ///< captures what is played; else a sine
    double sine_hz = 997, sine_peak = 0.1;
    std::uint64_t dies_at = never, ends_at = never;
    std::uint64_t loses_at = never;  ///< from here `lost` frames of the sine are skipped
    std::uint64_t lost = 0;
    bool owns_up = false;  ///< the loss is flagged, too
    std::size_t inputs = 2;
    bool turns = false;
    std::function<void(std::uint64_t)> at_each_transfer;
    std::function<double(std::size_t channel, std::uint64_t frame)> sound;  ///< captured in place of the sine

    std::vector<double> played;
    std::vector<std::pair<double, std::uint64_t>> volumes;  ///< what set_volume() was told, and when
    bool running = false;

    std::string name() const override { return "fake"; }
    double sample_rate_hz() const override { return 48000; }
    std::size_t input_channels() const override { return inputs; }
    void start() override { running = true; }
    void stop() noexcept override { running = false; }
    bool turns_volume() const override { return turns; }
    void set_volume(double volume) override { volumes.emplace_back(volume, delivered_); }

    hushtrace::LinkNotice transfer(const hushtrace::PlaySupply& supply, hushtrace::Block& captured) override {
        using namespace hushtrace;
        constexpr std::size_t frames = 512;
        if (at_each_transfer) at_each_transfer(delivered_);
        if (delivered_ >= dies_at) throw Error(ErrorKind::device_failed, "fake: the device is gone");
        LinkNotice notice;
        std::vector<double> out(frames);
        supply(out);
        played.insert(played.end(), out.begin(), out.end());
        captured.reset(inputs, frames);
        for (std::size_t i = 0; i < frames; ++i) {
            if (delivered_ == loses_at) {
                phase_ += lost;
                notice.input_overflow = owns_up;
            }
            const double at = static_cast<double>(phase_++) / sample_rate_hz();
            const double sample =
                looped_back ? out[i] : sine_peak * std::sin(2 * std::numbers::pi * sine_hz * at);
            for (std::size_t c = 0; c < inputs; ++c) captured.channel(c)[i] = sound ? sound(c, delivered_) : sample;
            ++delivered_;
        }
        notice.ended = delivered_ >= ends_at;
        return notice;
    }

    static constexpr std::uint64_t never = std::numeric_limits<std::uint64_t>::max();

private:
    std::uint64_t delivered_ = 0, phase_ = 0;
};
