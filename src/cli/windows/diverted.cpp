#include "../diverted.hpp"

#include <fcntl.h>
#include <io.h>
#include <sys/stat.h>

namespace hushtrace::cli {

Diverted::Diverted(std::FILE* stream, const std::filesystem::path& into) : stream_(stream) {
    std::fflush(stream_);
    kept_ = _dup(_fileno(stream_));
    const int file = _wopen(into.c_str(), _O_WRONLY | _O_CREAT | _O_TRUNC | _O_BINARY | _O_NOINHERIT, _S_IREAD | _S_IWRITE);
    if (file >= 0) {
        _dup2(file, _fileno(stream_));
        _close(file);
    }
}

Diverted::~Diverted() {
    std::fflush(stream_);
    _dup2(kept_, _fileno(stream_));
    _close(kept_);
}

}  // namespace hushtrace::cli
