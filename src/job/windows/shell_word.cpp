#include "hushtrace/job/shell_word.hpp"

namespace hushtrace {

// As the command prompt and CommandLineToArgvW read it: between quotes all stands for itself but a quote, and backslashes before one.
std::string shell_word(std::string_view text) {
    const bool plain = !text.empty() && text.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./:+@\\") ==
                                            std::string_view::npos;
    if (plain) return std::string(text);
    std::string out = "\"";
    std::size_t backslashes = 0;
    for (const char c : text) {
        if (c == '"') out.append(backslashes + 1, '\\');
        backslashes = c == '\\' ? backslashes + 1 : 0;
        out += c;
    }
    out.append(backslashes, '\\');
    return out + "\"";
}

}  // namespace hushtrace
