#include "device_stream.hpp"

#include <algorithm>

namespace hushtrace::audio {

DeviceStream::DeviceStream(std::size_t input_channels, std::size_t output_channels, double sample_rate_hz,
                           double seconds)
    : input_channels_(input_channels),
      output_channels_(output_channels),
      captured_(static_cast<std::size_t>(seconds * sample_rate_hz) * input_channels),
      played_(static_cast<std::size_t>(seconds * sample_rate_hz)),
      played_capacity_(played_.capacity()) {}

std::size_t DeviceStream::take(std::vector<float>& into) noexcept {
    const std::size_t frames = std::min(waiting_frames(), into.size() / input_channels_);
    captured_.read({into.data(), frames * input_channels_});
    return frames;
}

void DeviceStream::give(const std::vector<float>& samples) noexcept {
    played_.write(samples);
    fed_.store(true, std::memory_order_release);
}

void DeviceStream::capture(const float* from, std::size_t frames) noexcept {
    if (captured_.writable() <
        frames * input_channels_) {  // whole buffers or nothing: channels stay in their places
        input_overflow_.store(true, std::memory_order_relaxed);
        return;
    }
    captured_.write({from, frames * input_channels_});
}

void DeviceStream::play(float* into, std::size_t frames) noexcept {
    if (output_channels_ == 1) {
        const std::size_t got = played_.read({into, frames});
        std::fill(into + got, into + frames, 0.0f);
        if (got < frames && fed_.load(std::memory_order_acquire)) output_underflow_.store(true);
        return;
    }
    // The channel to play is read into the buffer's tail and spread forward from there: frame i is written at
    // i * channels .. , never beyond the place that frame i + 1 is still read from.
    float* const tail = into + frames * (output_channels_ - 1);
    const std::size_t got = played_.read({tail, frames});
    std::fill(tail + got, tail + frames, 0.0f);
    for (std::size_t i = 0; i < frames; ++i) {
        const float sample = tail[i];
        std::fill_n(into + i * output_channels_, output_channels_, sample);
    }
    if (got < frames && fed_.load(std::memory_order_acquire)) output_underflow_.store(true);
}

int DeviceStream::callback(const void* input, void* output, unsigned long frames,
                           const PaStreamCallbackTimeInfo*, PaStreamCallbackFlags flags,
                           void* user) noexcept {
    DeviceStream& stream = *static_cast<DeviceStream*>(user);
    // Underflow on the input side means that silence was put in place of sound: for a capture that is a loss,
    // too.
    if ((flags & (paInputOverflow | paInputUnderflow)) != 0) stream.input_overflow_.store(true);
    if ((flags & paOutputUnderflow) != 0 && stream.fed_.load(std::memory_order_acquire))
        stream.output_underflow_.store(true);
    if (input != nullptr) stream.capture(static_cast<const float*>(input), frames);
    if (output != nullptr) stream.play(static_cast<float*>(output), frames);
    return paContinue;
}

}  // namespace hushtrace::audio
