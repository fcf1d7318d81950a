#include "../sound_system_quirks.hpp"

#include <windows.h>

#include <objbase.h>

namespace hushtrace::audio {

// One thread in the multithreaded apartment lets all that join none work there, so that a stream may be opened on another thread
// than the one that found the devices.
void calm_sound_system() { join_sound_system(); }

void join_sound_system() { (void)::CoInitializeEx(nullptr, COINIT_MULTITHREADED); }

}  // namespace hushtrace::audio
