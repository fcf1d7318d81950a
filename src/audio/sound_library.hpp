#pragma once
#include <portaudio.h>

#include <string>
#include <vector>

#include "hushtrace/audio/link.hpp"

namespace hushtrace::audio {

/// PortAudio, initialised while one of these lives. Its chatter goes nowhere.
///   throws Error device_failed when it can't start or does not answer within ten seconds
class SoundLibrary {
public:
    SoundLibrary();
    ~SoundLibrary();
    SoundLibrary(const SoundLibrary&) = delete;
    SoundLibrary& operator=(const SoundLibrary&) = delete;
};

/// A short reason in words for a PortAudio code.
std::string reason(PaError code);

/// The device as asked for: an index, a whole name or a part of one (upper and lower case alike), empty for
/// the default. Only devices with inputs (or outputs, with `playing`) count.
///   throws Error device_failed: none, or several, which are listed
PaDeviceIndex find_device(const std::string& asked, bool playing);

std::string device_name(PaDeviceIndex index);

/// Of the usual rates, those at which the device takes so many channels.
std::vector<double> accepted_rates(PaDeviceIndex index, int input_channels, int output_channels);

}  // namespace hushtrace::audio
