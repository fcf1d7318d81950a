#include "hushtrace/audio/silence.hpp"

#include "descriptors.hpp"

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
    silenced.kept = copy_of_descriptor(stderr_number);
    if (silenced.kept < 0) return;
    silenced.voice = file_of_descriptor(silenced.kept);
    const int nowhere = descriptor_to_nowhere();
    if (nowhere < 0 || silenced.voice == nullptr) {
        if (nowhere >= 0) close_descriptor(nowhere);
        return;
    }
    std::setvbuf(silenced.voice, nullptr, _IONBF, 0);
    lead_descriptor(stderr_number, nowhere);
    close_descriptor(nowhere);
}

StderrSilence::~StderrSilence() {
    if (--silenced.depth > 0 || silenced.kept < 0) return;
    std::fflush(stderr);
    lead_descriptor(stderr_number, silenced.kept);
    if (silenced.voice != nullptr)
        std::fclose(silenced.voice);
    else
        close_descriptor(silenced.kept);
    silenced.kept = -1;
    silenced.voice = nullptr;
}

std::FILE* StderrSilence::voice() noexcept {
    return silenced.voice != nullptr ? silenced.voice : stderr;
}

}  // namespace hushtrace
