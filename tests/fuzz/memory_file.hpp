#pragma once
#include <sys/mman.h>
#include <unistd.h>

#include <filesystem>
#include <stdexcept>
#include <string>

#include "target.hpp"

namespace hushtrace::fuzz {

/// A file without a disk, for readers that want a path.
class MemoryFile {
public:
    explicit MemoryFile(Bytes content) : handle_(::memfd_create("input", MFD_CLOEXEC)) {
        if (handle_ < 0 || ::write(handle_, content.data(), content.size()) != static_cast<ssize_t>(content.size()))
            throw std::runtime_error("no file in memory");
    }
    ~MemoryFile() { ::close(handle_); }
    MemoryFile(const MemoryFile&) = delete;
    MemoryFile& operator=(const MemoryFile&) = delete;
    std::filesystem::path path() const { return "/proc/self/fd/" + std::to_string(handle_); }

private:
    int handle_;
};

}  // namespace hushtrace::fuzz
