#pragma once
#include <chrono>
#include <functional>

namespace hushtrace::audio {

/// Runs `work` on a thread of its own and waits for it, at most `patience`: calls into a sound system whose
/// server has died or hangs may never come back.
///
/// `work` must own all that it touches (shared pointers), since it may outlive this call: when it doesn't end
/// in time, it is left to itself and false is returned. What `work` throws is thrown here.
bool run_guarded(std::function<void()> work, std::chrono::milliseconds patience);

/// Whether some work was left to itself: the sound library may then not be entered again in this process.
bool work_was_abandoned();

}  // namespace hushtrace::audio
