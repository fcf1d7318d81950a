#pragma once
#include <cstdio>
#include <filesystem>

namespace hushtrace::cli {

/// Sends a stream of the process into a file for as long as it lives.
class Diverted {
public:
    Diverted(std::FILE* stream, const std::filesystem::path& into);
    ~Diverted();
    Diverted(const Diverted&) = delete;
    Diverted& operator=(const Diverted&) = delete;

private:
    std::FILE* stream_;
    int kept_ = -1;
};

}  // namespace hushtrace::cli
