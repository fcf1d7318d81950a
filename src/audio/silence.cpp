#include "hushtrace/audio/silence.hpp"

#include <fcntl.h>
#include <unistd.h>

namespace hushtrace {
namespace {

struct Silenced {
    int depth = 0;
    int kept = -1;  // where stderr led
    std::FILE* voice = nullptr;
} silenced;

}  // namespace

StderrSilence::StderrSilence() {
    if (silenced.depth++ > 0) return;
    std::fflush(stderr);
    silenced.kept = fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 3);
    if (silenced.kept < 0) return;
    silenced.voice = fdopen(silenced.kept, "w");
    const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
    if (nowhere < 0 || silenced.voice == nullptr) {
        if (nowhere >= 0) close(nowhere);
        return;
    }
    std::setvbuf(silenced.voice, nullptr, _IONBF, 0);
    dup2(nowhere, STDERR_FILENO);
    close(nowhere);
}

StderrSilence::~StderrSilence() {
    if (--silenced.depth > 0 || silenced.kept < 0) return;
    std::fflush(stderr);
    dup2(silenced.kept, STDERR_FILENO);
    if (silenced.voice != nullptr)
        std::fclose(silenced.voice);
    else
        close(silenced.kept);
    silenced.kept = -1;
    silenced.voice = nullptr;
}

std::FILE* StderrSilence::voice() noexcept {
    return silenced.voice != nullptr ? silenced.voice : stderr;
}

}  // namespace hushtrace
