#include "sha256.hpp"

#include <fmt/format.h>
#include <openssl/evp.h>

#include <array>

namespace hushtrace {
namespace {

EVP_MD_CTX* context(void* state) { return static_cast<EVP_MD_CTX*>(state); }

}  // namespace

Sha256::Sha256() : state_(EVP_MD_CTX_new()) { failed_ = state_ == nullptr || EVP_DigestInit_ex(context(state_), EVP_sha256(), nullptr) != 1; }

Sha256::~Sha256() { EVP_MD_CTX_free(context(state_)); }

void Sha256::add(const char* bytes, std::size_t count) { failed_ = failed_ || EVP_DigestUpdate(context(state_), bytes, count) != 1; }

std::optional<std::string> Sha256::end() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned length = 0;
    if (failed_ || EVP_DigestFinal_ex(context(state_), digest.data(), &length) != 1) return std::nullopt;
    std::string hexadecimal;
    for (unsigned i = 0; i < length; ++i) hexadecimal += fmt::format("{:02x}", digest[i]);
    return hexadecimal;
}

}  // namespace hushtrace
