#include <fmt/format.h>
#include <fmt/ranges.h>
#include <portaudio.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <memory>
#include <thread>
#include <utility>

#include "device_stream.hpp"
#include "guarded.hpp"
#include "hushtrace/audio/link.hpp"
#include "hushtrace/audio/silence.hpp"
#include "hushtrace/signal/error.hpp"
#include "sound_library.hpp"

namespace hushtrace {
namespace {

using audio::DeviceStream;
using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

constexpr double ring_s = 4.0;           // how late the storing thread may be
constexpr double least_ahead_s = 0.2;    // how far ahead of the device the output is kept
constexpr auto silence_means_gone = 2s;  // a device that delivers nothing for so long has died
constexpr auto opening_patience = 10s, closing_patience = 3s;

/// What a call into PortAudio leaves behind, shared with that call, which may outlive the link.
struct OpenStream {
    PaStream* handle = nullptr;
    PaError result = paNoError;
    double actual_rate_hz = 0, output_latency_s = 0;
};

class DeviceLink final : public Link {
public:
    explicit DeviceLink(const DeviceWish& wish) : wish_(wish) {
        check_wish();
        input_ = audio::find_device(wish.device, false);
        if (wish.output_channels > 0)
            output_ = audio::find_device(wish.output_device.value_or(wish.device), true);
        check_channels();
        if (wish.output_channels > 0)  // all outputs carry the same: fewer will do
            wish_.output_channels = std::min(wish.output_channels, offered(output_, true));
        ahead_frames_ = frames(std::max(least_ahead_s, wish.latency_s)) + 2 * wish.frames_per_callback;
        const double ahead_s = static_cast<double>(ahead_frames_) / wish.sample_rate_hz;  // which the ring has to hold
        stream_ = std::make_shared<DeviceStream>(wish.input_channels, wish_.output_channels,
                                                 wish.sample_rate_hz, std::max(ring_s, 2.0 * ahead_s));
        open();
        interleaved_.resize(frames(0.25) * wish.input_channels);
    }
    ~DeviceLink() override { stop(); }

    std::string name() const override { return audio::device_name(input_); }
    double sample_rate_hz() const override { return wish_.sample_rate_hz; }
    std::size_t input_channels() const override { return wish_.input_channels; }
    double output_delay_s() const override {
        if (wish_.output_channels == 0) return 0.0;
        return static_cast<double>(ahead_frames_) / wish_.sample_rate_hz + opened_->output_latency_s + 0.1;
    }

    double settling_s() const override { return 0.3; }

    void start() override {
        const auto opened = opened_;
        guarded([opened] { opened->result = Pa_StartStream(opened->handle); }, opening_patience);
        if (opened_->result != paNoError)
            fail(fmt::format("can't be started: {}", audio::reason(opened_->result)));
        last_delivery_ = Clock::now();
    }

    LinkNotice transfer(const PlaySupply& supply, Block& captured) override {
        if (wish_.output_channels > 0) feed(supply);
        wait_for_frames();
        const std::size_t count = stream_->take(interleaved_);
        captured.reset(wish_.input_channels, count);
        for (std::size_t c = 0; c < wish_.input_channels; ++c)
            for (std::size_t i = 0; i < count; ++i)
                captured.channel(c)[i] = static_cast<double>(interleaved_[i * wish_.input_channels + c]);
        LinkNotice notice;
        notice.input_overflow = stream_->take_input_overflow();
        if (replace_not_finite(captured)) notice.input_overflow = true;
        notice.output_underflow = stream_->take_output_underflow();
        return notice;
    }

    void stop() noexcept override {
        if (!opened_ || opened_->handle == nullptr) return;
        const StderrSilence silence;
        const auto opened = std::exchange(opened_, std::make_shared<OpenStream>(OpenStream{
                                                       nullptr, paNoError, 0, opened_->output_latency_s}));
        const auto stream = stream_;  // the callback may run until the stream is closed
        try {
            const bool ended = audio::run_guarded(
                [opened, stream] {
                    Pa_AbortStream(opened->handle);  // what was to be heard has been waited for by then
                    Pa_CloseStream(opened->handle);
                },
                closing_patience);
            if (!ended) keep_for_ever(stream);
        } catch (...) {  // no thread to be had: leave the stream as it is
            keep_for_ever(stream);
        }
    }

private:
    std::size_t frames(double seconds) const {
        return static_cast<std::size_t>(seconds * wish_.sample_rate_hz);
    }

    [[noreturn]] void fail(const std::string& what) const {
        throw Error(ErrorKind::device_failed, fmt::format("{}: {}", audio::device_name(input_), what));
    }

    void check_wish() const {
        const bool rate_sane = wish_.sample_rate_hz >= 8000 && wish_.sample_rate_hz <= 768000;
        const bool latency_sane = wish_.latency_s > 0 && wish_.latency_s <= 2;
        if (!rate_sane || !latency_sane || wish_.input_channels == 0 || wish_.input_channels > 64 ||
            wish_.output_channels > 64 || wish_.frames_per_callback < 16 || wish_.frames_per_callback > 65536)
            throw Error(ErrorKind::invalid_request,
                        "a device runs at 8000 to 768000 Hz, up to 2 s of latency, 16 to 65536 frames and 64 "
                        "channels");
    }

    static std::size_t offered(PaDeviceIndex index, bool playing) {
        const PaDeviceInfo* info = Pa_GetDeviceInfo(index);
        return static_cast<std::size_t>(
            std::max(playing ? info->maxOutputChannels : info->maxInputChannels, 0));
    }

    void check_channels() const {
        if (wish_.input_channels > offered(input_, false))
            fail(fmt::format("{} input channels asked for, {} offered; name those there are with --channels",
                             wish_.input_channels, offered(input_, false)));
    }

    void open() {
        const PaStreamParameters in{input_, static_cast<int>(wish_.input_channels), paFloat32,
                                    wish_.latency_s, nullptr};
        const PaStreamParameters out{output_, static_cast<int>(wish_.output_channels), paFloat32,
                                     wish_.latency_s, nullptr};
        const bool plays = wish_.output_channels > 0;
        const double rate_hz = wish_.sample_rate_hz;
        const auto frames_per_callback = static_cast<unsigned long>(wish_.frames_per_callback);
        const auto opened = opened_;
        const auto stream = stream_;
        guarded(
            [=] {
                opened->result =
                    Pa_OpenStream(&opened->handle, &in, plays ? &out : nullptr, rate_hz, frames_per_callback,
                                  paNoFlag, &DeviceStream::callback, stream.get());
                if (opened->result != paNoError) return;
                const PaStreamInfo* info = Pa_GetStreamInfo(opened->handle);
                opened->actual_rate_hz = info->sampleRate;
                opened->output_latency_s = plays ? info->outputLatency : 0.0;
            },
            opening_patience);
        if (opened_->result == paInvalidSampleRate) fail(rate_refused());
        if (opened_->result != paNoError)
            fail(fmt::format("can't be opened: {}", audio::reason(opened_->result)));
        // A converter that runs at another rate than it was told would put every frequency in the wrong
        // place.
        if (std::abs(opened_->actual_rate_hz / rate_hz - 1.0) > 1e-3)
            fail(fmt::format("runs at {:.0f} Hz in place of {:.0f} Hz", opened_->actual_rate_hz, rate_hz));
    }

    std::string rate_refused() const {
        const auto rates = std::make_shared<std::vector<double>>();
        const DeviceWish wish = wish_;
        const PaDeviceIndex input = input_;
        guarded(
            [=] {
                *rates =
                    audio::accepted_rates(input, static_cast<int>(wish.input_channels),
                                          wish.output_device ? 0 : static_cast<int>(wish.output_channels));
            },
            opening_patience);
        const std::string refused = fmt::format("refuses {:.0f} Hz", wish_.sample_rate_hz);
        return rates->empty() ? refused
                              : fmt::format("{}; it takes {:.0f} Hz", refused, fmt::join(*rates, ", "));
    }

    void guarded(std::function<void()> work, std::chrono::milliseconds patience) const {
        const StderrSilence silence;
        if (audio::run_guarded(std::move(work), patience)) return;
        keep_for_ever(stream_);
        fail("the sound system does not answer");
    }

    /// For a stream that could not be closed: its callback may yet come.
    static void keep_for_ever(const std::shared_ptr<DeviceStream>& stream) {
        static auto* const kept = new std::vector<std::shared_ptr<DeviceStream>>;
        kept->push_back(stream);
    }

    void feed(const PlaySupply& supply) {
        const std::size_t ahead = stream_->frames_to_play();
        if (ahead >= ahead_frames_) return;
        to_play_.assign(ahead_frames_ - ahead, 0.0);
        supply(to_play_);
        narrowed_.resize(to_play_.size());
        std::transform(to_play_.begin(), to_play_.end(), narrowed_.begin(),
                       [](double sample) { return static_cast<float>(std::clamp(sample, -1.0, 1.0)); });
        stream_->give(narrowed_);
    }

    /// A driver that delivers NaNs or infinities has lost those samples.
    static bool replace_not_finite(Block& captured) {
        bool any = false;
        for (std::size_t c = 0; c < captured.channels(); ++c)
            for (double& sample : captured.channel(c))
                if (!std::isfinite(sample)) {
                    sample = 0.0;
                    any = true;
                }
        return any;
    }

    void wait_for_frames() {
        while (stream_->waiting_frames() == 0) {
            const bool runs = Pa_IsStreamActive(opened_->handle) == 1;
            if (!runs && stream_->waiting_frames() == 0) fail("the device is gone: it stopped by itself");
            if (Clock::now() - last_delivery_ > silence_means_gone)
                fail("the device is gone: nothing came for 2 s");
            std::this_thread::sleep_for(2ms);
        }
        last_delivery_ = Clock::now();
    }

    audio::SoundLibrary library_;  // first in, last out
    DeviceWish wish_;
    PaDeviceIndex input_ = paNoDevice, output_ = paNoDevice;
    std::shared_ptr<DeviceStream> stream_;
    std::shared_ptr<OpenStream> opened_ = std::make_shared<OpenStream>();
    std::size_t ahead_frames_ = 0;
    Clock::time_point last_delivery_;
    std::vector<double> to_play_;
    std::vector<float> narrowed_, interleaved_;
};

}  // namespace

std::unique_ptr<Link> open_device_link(const DeviceWish& wish) {
    return std::make_unique<DeviceLink>(wish);
}

}  // namespace hushtrace
