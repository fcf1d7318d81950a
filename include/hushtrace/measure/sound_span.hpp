#pragma once

namespace hushtrace {

/// A stretch of sound, in seconds from the first frame.
struct SoundSpan {
    double from_s = 0, to_s = 0;
};

}  // namespace hushtrace
