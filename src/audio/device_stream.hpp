#pragma once
#include <portaudio.h>

#include <atomic>
#include <cstddef>
#include <vector>

#include "hushtrace/audio/ring.hpp"

namespace hushtrace::audio {

/// What the device callback and the transferring thread share. The callback copies between the device's
/// buffers and these rings, replicating the one played channel on all outputs; it allocates, locks, logs and
/// computes nothing.
class DeviceStream {
public:
    /// `seconds` is how long either side may be late before something is lost.
    DeviceStream(std::size_t input_channels, std::size_t output_channels, double sample_rate_hz,
                 double seconds);

    std::size_t input_channels() const noexcept { return input_channels_; }
    std::size_t output_channels() const noexcept { return output_channels_; }

    // For the transferring thread.
    std::size_t waiting_frames() const noexcept { return captured_.readable() / input_channels_; }
    /// Frames of interleaved samples into `into`, as many whole ones as are waiting and fit; returns how
    /// many.
    std::size_t take(std::vector<float>& into) noexcept;
    std::size_t frames_to_play() const noexcept { return played_capacity_ - played_.writable(); }
    void give(const std::vector<float>& samples) noexcept;
    bool take_input_overflow() noexcept { return input_overflow_.exchange(false); }
    bool take_output_underflow() noexcept { return output_underflow_.exchange(false); }

    /// PortAudio's callback; `user` is the DeviceStream.
    static int callback(const void* input, void* output, unsigned long frames,
                        const PaStreamCallbackTimeInfo* time, PaStreamCallbackFlags flags,
                        void* user) noexcept;

private:
    void capture(const float* from, std::size_t frames) noexcept;
    void play(float* into, std::size_t frames) noexcept;

    std::size_t input_channels_, output_channels_;
    Ring<float> captured_;  ///< interleaved
    Ring<float> played_;    ///< one channel
    std::size_t played_capacity_;
    std::atomic<bool> fed_{false};  ///< something was given to play: from now on a gap is an underflow
    std::atomic<bool> input_overflow_{false}, output_underflow_{false};
};

}  // namespace hushtrace::audio
