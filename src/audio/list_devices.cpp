#include <algorithm>
#include <chrono>
#include <memory>

#include "guarded.hpp"
#include "hushtrace/audio/link.hpp"
#include "hushtrace/audio/silence.hpp"
#include "hushtrace/signal/error.hpp"
#include "sound_library.hpp"

namespace hushtrace {
namespace {

std::vector<DeviceInfo> read_devices() {
    std::vector<DeviceInfo> devices;
    for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); ++i) {
        const PaDeviceInfo* info = Pa_GetDeviceInfo(i);
        if (info == nullptr) continue;
        const PaHostApiInfo* api = Pa_GetHostApiInfo(info->hostApi);
        DeviceInfo device;
        device.index = i;
        device.name = audio::device_name(i);
        device.host_api = api != nullptr ? api->name : "";
        device.input_channels = static_cast<std::size_t>(std::max(info->maxInputChannels, 0));
        device.output_channels = static_cast<std::size_t>(std::max(info->maxOutputChannels, 0));
        device.default_sample_rate_hz = info->defaultSampleRate;
        device.sample_rates_hz = audio::accepted_rates(i, std::min(info->maxInputChannels, 2),
                                                       std::min(info->maxOutputChannels, 2));
        device.input_latency_s = info->defaultLowInputLatency;
        device.output_latency_s = info->defaultLowOutputLatency;
        device.default_input = i == Pa_GetDefaultInputDevice();
        device.default_output = i == Pa_GetDefaultOutputDevice();
        devices.push_back(std::move(device));
    }
    return devices;
}

}  // namespace

std::vector<DeviceInfo> list_devices() {
    const StderrSilence silence;
    const audio::SoundLibrary library;
    auto found = std::make_shared<std::vector<DeviceInfo>>();
    if (!audio::run_guarded([found] { *found = read_devices(); }, std::chrono::seconds(20)))
        throw Error(ErrorKind::device_failed, "the sound system does not answer");
    return *found;
}

}  // namespace hushtrace
