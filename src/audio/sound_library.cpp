#include "sound_library.hpp"

#include <dlfcn.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cstdlib>
#include <memory>
#include <optional>

#include "guarded.hpp"
#include "hushtrace/audio/silence.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace::audio {
namespace {

using namespace std::chrono_literals;
constexpr std::array usual_rates_hz = {44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0};

void say_nothing(const char*, int, const char*, int, const char*, ...) {}

/// Where ALSA is among the loaded libraries, its messages go nowhere, also those that its own threads write.
void hush_alsa() {
    using Handler = void (*)(const char*, int, const char*, int, const char*, ...);
    using SetHandler = int (*)(Handler);
    if (void* found = dlsym(RTLD_DEFAULT, "snd_lib_error_set_handler"))
        reinterpret_cast<SetHandler>(found)(&say_nothing);
}

std::string lower(std::string text) {
    std::transform(text.begin(), text.end(), text.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return text;
}

int channels_of(PaDeviceIndex index, bool playing) {
    const PaDeviceInfo* info = Pa_GetDeviceInfo(index);
    return info == nullptr ? 0 : playing ? info->maxOutputChannels : info->maxInputChannels;
}

std::optional<int> whole_number(const std::string& text) {
    int value = 0;
    const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (text.empty() || fault != std::errc() || end != text.data() + text.size()) return std::nullopt;
    return value;
}

PaDeviceIndex default_device(bool playing) {
    const PaDeviceIndex index = playing ? Pa_GetDefaultOutputDevice() : Pa_GetDefaultInputDevice();
    if (index == paNoDevice)
        throw Error(ErrorKind::device_failed,
                    fmt::format("no audio device to {} with was found; plug the interface in and see "
                                "'hushtrace devices'",
                                playing ? "play" : "capture"));
    return index;
}

PaDeviceIndex numbered_device(int index, bool playing) {
    if (index < 0 || index >= Pa_GetDeviceCount())
        throw Error(ErrorKind::device_failed,
                    fmt::format("device {}: no such device; 'hushtrace devices' lists what there is", index));
    if (channels_of(index, playing) == 0)
        throw Error(ErrorKind::device_failed,
                    fmt::format("device {} ({}) has no {}", index, device_name(index),
                                playing ? "outputs" : "inputs"));
    return index;
}

}  // namespace

SoundLibrary::SoundLibrary() {
    if (work_was_abandoned()) throw Error(ErrorKind::device_failed, "the sound system does not answer");
    const StderrSilence silence;
    setenv("JACK_NO_START_SERVER", "1", 0);  // looking for devices must not start one
    hush_alsa();
    auto result = std::make_shared<PaError>(paNoError);
    if (!run_guarded([result] { *result = Pa_Initialize(); }, 10s))
        throw Error(ErrorKind::device_failed, "the sound system does not answer");
    if (*result != paNoError)
        throw Error(ErrorKind::device_failed, "the sound system can't be started: " + reason(*result));
}

SoundLibrary::~SoundLibrary() {
    if (work_was_abandoned()) return;  // something is still inside the library: leave it standing
    const StderrSilence silence;
    run_guarded([] { Pa_Terminate(); }, 3s);
}

std::string reason(PaError code) {
    const PaHostErrorInfo* host = code == paUnanticipatedHostError ? Pa_GetLastHostErrorInfo() : nullptr;
    if (host != nullptr && host->errorText != nullptr && *host->errorText != '\0') return host->errorText;
    return Pa_GetErrorText(code);
}

std::string device_name(PaDeviceIndex index) {
    const PaDeviceInfo* info = Pa_GetDeviceInfo(index);
    return info != nullptr && info->name != nullptr ? info->name : fmt::format("device {}", index);
}

PaDeviceIndex find_device(const std::string& asked, bool playing) {
    if (asked.empty()) return default_device(playing);
    if (const auto index = whole_number(asked)) return numbered_device(*index, playing);
    std::vector<PaDeviceIndex> whole, part, other_way;
    for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); ++i) {
        const std::string name = lower(device_name(i));
        if (name.find(lower(asked)) == std::string::npos) continue;
        if (channels_of(i, playing) == 0)
            other_way.push_back(i);
        else
            (name == lower(asked) ? whole : part).push_back(i);
    }
    const auto& found = whole.empty() ? part : whole;
    if (found.size() == 1) return found.front();
    if (found.empty() && !other_way.empty()) return numbered_device(other_way.front(), playing);
    if (found.empty())
        throw Error(ErrorKind::device_failed,
                    fmt::format("'{}': no such device; 'hushtrace devices' lists what there is", asked));
    std::string listed;
    for (const PaDeviceIndex i : found)
        listed += fmt::format("{}{}: {}", listed.empty() ? "" : ", ", i, device_name(i));
    throw Error(ErrorKind::device_failed,
                fmt::format("'{}' fits several devices: {}; give the number", asked, listed));
}

std::vector<double> accepted_rates(PaDeviceIndex index, int input_channels, int output_channels) {
    const PaStreamParameters in{index, input_channels, paFloat32, 0.1, nullptr};
    const PaStreamParameters out{index, output_channels, paFloat32, 0.1, nullptr};
    std::vector<double> accepted;
    for (const double rate_hz : usual_rates_hz)
        if (Pa_IsFormatSupported(input_channels > 0 ? &in : nullptr, output_channels > 0 ? &out : nullptr,
                                 rate_hz) == paFormatIsSupported)
            accepted.push_back(rate_hz);
    return accepted;
}

}  // namespace hushtrace::audio
