#include "hushtrace/job/shell_word.hpp"

namespace hushtrace {

std::string shell_word(std::string_view text) {
    const bool plain = !text.empty() && text.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./:,+=@%") ==
                                            std::string_view::npos;
    if (plain) return std::string(text);
    std::string out = "'";
    for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return out + "'";
}

}  // namespace hushtrace
