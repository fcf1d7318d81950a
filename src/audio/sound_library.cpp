#include "sound_library.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <iterator>
#include <memory>
#include <optional>

#include "guarded.hpp"
#include "hushtrace/audio/silence.hpp"
#include "hushtrace/signal/error.hpp"
#include "sound_system_quirks.hpp"

namespace hushtrace::audio {
namespace {

using namespace std::chrono_literals;
constexpr std::array usual_rates_hz = {44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0};

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

/// Windows has three ways to a device, and lists it once for each: this is the shortest, and converts nothing unasked. Elsewhere none is
/// of this kind.
PaHostApiIndex shortest_way() { return Pa_HostApiTypeIdToHostApiIndex(paWASAPI); }

PaDeviceIndex default_device(bool playing) {
    PaDeviceIndex index = playing ? Pa_GetDefaultOutputDevice() : Pa_GetDefaultInputDevice();
    const PaHostApiInfo* const way = Pa_GetHostApiInfo(shortest_way());
    const PaDeviceIndex by_it = way == nullptr ? paNoDevice : playing ? way->defaultOutputDevice : way->defaultInputDevice;
    if (by_it != paNoDevice) index = by_it;
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
    calm_sound_system();
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
    std::vector<PaDeviceIndex> found = whole.empty() ? part : whole, direct;
    std::copy_if(found.begin(), found.end(), std::back_inserter(direct),
                 [](PaDeviceIndex i) { return Pa_GetDeviceInfo(i) != nullptr && Pa_GetDeviceInfo(i)->hostApi == shortest_way(); });
    if (!direct.empty()) found = direct;
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
