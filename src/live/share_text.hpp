#pragma once
#include <string>
#include <string_view>

namespace hushtrace {

/// The phone's page, whole. `nonce` is what its one style and its one script carry (Content-Security-Policy).
std::string share_text(std::string_view nonce);

std::string_view share_style();
std::string_view share_script();

}  // namespace hushtrace
