#include "hushtrace/audio/silence.hpp"

#include <fcntl.h>
#include <io.h>

namespace hushtrace {
namespace {

constexpr int stderr_number = 2;

struct Silenced {
    int depth = 0;
    int kept = -1;  // where stderr led
    std::FILE* voice = nullptr;
} silenced;

}  // namespace

StderrSilence::StderrSilence() {
    if (silenced.depth++ > 0) return;
    std::fflush(stderr);
    silenced.kept = _dup(stderr_number);
    if (silenced.kept < 0) return;
    silenced.voice = _fdopen(silenced.kept, "wb");
    const int nowhere = _open("NUL", _O_WRONLY | _O_BINARY | _O_NOINHERIT);
    if (nowhere < 0 || silenced.voice == nullptr) {
        if (nowhere >= 0) _close(nowhere);
        return;
    }
    std::setvbuf(silenced.voice, nullptr, _IONBF, 0);
    _dup2(nowhere, stderr_number);
    _close(nowhere);
}

StderrSilence::~StderrSilence() {
    if (--silenced.depth > 0 || silenced.kept < 0) return;
    std::fflush(stderr);
    _dup2(silenced.kept, stderr_number);
    if (silenced.voice != nullptr)
        std::fclose(silenced.voice);
    else
        _close(silenced.kept);
    silenced.kept = -1;
    silenced.voice = nullptr;
}

std::FILE* StderrSilence::voice() noexcept {
    return silenced.voice != nullptr ? silenced.voice : stderr;
}

}  // namespace hushtrace
