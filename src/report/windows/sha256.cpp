#include "../sha256.hpp"

#include <fmt/format.h>
#include <windows.h>

#include <bcrypt.h>

#include <array>

namespace hushtrace {
namespace {

/// Open as long as the program runs; null when Windows has none.
BCRYPT_ALG_HANDLE provider() {
    static const BCRYPT_ALG_HANDLE opened = [] {
        BCRYPT_ALG_HANDLE handle = nullptr;
        return ::BCryptOpenAlgorithmProvider(&handle, BCRYPT_SHA256_ALGORITHM, nullptr, 0) >= 0 ? handle : nullptr;
    }();
    return opened;
}

}  // namespace

Sha256::Sha256() { failed_ = provider() == nullptr || ::BCryptCreateHash(provider(), &state_, nullptr, 0, nullptr, 0, 0) < 0; }

Sha256::~Sha256() {
    if (state_ != nullptr) ::BCryptDestroyHash(state_);
}

void Sha256::add(const char* bytes, std::size_t count) {
    auto* const unread = reinterpret_cast<unsigned char*>(const_cast<char*>(bytes));  // only read, whatever its type says
    failed_ = failed_ || ::BCryptHashData(state_, unread, static_cast<ULONG>(count), 0) < 0;
}

std::optional<std::string> Sha256::end() {
    std::array<unsigned char, 32> digest{};
    if (failed_ || ::BCryptFinishHash(state_, digest.data(), static_cast<ULONG>(digest.size()), 0) < 0) return std::nullopt;
    std::string hexadecimal;
    for (const unsigned char byte : digest) hexadecimal += fmt::format("{:02x}", byte);
    return hexadecimal;
}

}  // namespace hushtrace
