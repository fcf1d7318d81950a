#pragma once
#include <cstddef>
#include <string_view>

namespace hushtrace {

/// One code point of a text; `valid` is false for bytes that are no UTF-8 (overlong forms and surrogates
/// too).
struct CodePoint {
    char32_t value = 0;
    std::size_t bytes = 1;
    bool valid = false;
};

/// The code point that starts at `at`. Bytes that don't form one are handed back one by one.
///   at   below text.size()
CodePoint code_point_at(std::string_view text, std::size_t at);

}  // namespace hushtrace
