#include "diverted.hpp"

#include <fcntl.h>
#include <unistd.h>

namespace hushtrace::cli {

Diverted::Diverted(std::FILE* stream, const std::filesystem::path& into) : stream_(stream) {
    std::fflush(stream_);
    kept_ = dup(fileno(stream_));
    const int file = open(into.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
    if (file >= 0) {
        dup2(file, fileno(stream_));
        close(file);
    }
}

Diverted::~Diverted() {
    std::fflush(stream_);
    dup2(kept_, fileno(stream_));
    close(kept_);
}

}  // namespace hushtrace::cli
