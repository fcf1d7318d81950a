#pragma once
#include <filesystem>
#include <optional>
#include <string>

namespace hushtrace {

/// Takes bytes piece by piece. `failed` once the library gave up.
class Sha256 {
public:
    Sha256();
    ~Sha256();
    Sha256(const Sha256&) = delete;
    Sha256& operator=(const Sha256&) = delete;
    void add(const char* bytes, std::size_t count);
    /// In hexadecimal; nothing when it failed. Once.
    std::optional<std::string> end();

private:
    void* state_ = nullptr;
    bool failed_ = false;
};

}  // namespace hushtrace
