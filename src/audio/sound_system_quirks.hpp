#pragma once

namespace hushtrace::audio {

/// Before the library starts: what it must not start or say on this system.
void calm_sound_system();
/// On each thread of ours that calls the library for a while: Windows' sound devices want to be told of it.
void join_sound_system();

}  // namespace hushtrace::audio
