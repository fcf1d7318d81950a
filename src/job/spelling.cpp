#include "hushtrace/job/spelling.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <vector>

namespace hushtrace {
namespace {

constexpr std::size_t kLongestShown = 40;

/// Bytes of the UTF-8 character at the front, or 0 when there is no valid one (RFC 3629).
std::size_t utf8_length(std::string_view text) {
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
    const unsigned char first = byte(0);
    if (first < 0x80) return 1;
    const std::size_t length = first >= 0xF0 ? 4 : first >= 0xE0 ? 3 : 2;
    if (first < 0xC2 || first > 0xF4 || text.size() < length) return 0;
    for (std::size_t i = 1; i < length; ++i)
        if ((byte(i) & 0xC0) != 0x80) return 0;
    const unsigned char second = byte(1);
    const bool overlong = (first == 0xE0 && second < 0xA0) || (first == 0xF0 && second < 0x90);
    const bool outside = (first == 0xED && second > 0x9F) || (first == 0xF4 && second > 0x8F);
    return overlong || outside ? 0 : length;
}

/// Optimal string alignment: letters added, left out, changed, or two neighbours swapped count one each.
std::size_t slips_between(std::string_view a, std::string_view b) {
    std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), now(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        now[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const std::size_t change = last[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
            now[j] = std::min({last[j] + 1, now[j - 1] + 1, change});
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                now[j] = std::min(now[j], before[j - 2] + 1);
        }
        before.swap(last);
        last.swap(now);
    }
    return last[b.size()];
}

std::string simplified(std::string_view text) {
    std::string out(text);
    for (char& c : out) {
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
        if (c == '-' || c == ' ') c = '_';
    }
    return out;
}

bool contains_at_an_end(std::string_view longer, std::string_view shorter) {
    return shorter.size() >= 3 && shorter.size() < longer.size() &&
           (longer.substr(0, shorter.size()) == shorter ||
            longer.substr(longer.size() - shorter.size()) == shorter);
}

}  // namespace

bool is_utf8(std::string_view text) {
    while (!text.empty()) {
        const std::size_t length = utf8_length(text);
        if (length == 0) return false;
        text.remove_prefix(length);
    }
    return true;
}

std::string in_quotes(std::string_view text) {
    std::string out = "'";
    std::size_t shown = 0;
    while (!text.empty() && shown < kLongestShown) {
        const std::size_t length = utf8_length(text);
        const auto first = static_cast<unsigned char>(text[0]);
        const bool c1_control = length == 2 && first == 0xC2 && static_cast<unsigned char>(text[1]) < 0xA0;
        const bool line_separator =
            text.substr(0, 3) == "\xE2\x80\xA8" || text.substr(0, 3) == "\xE2\x80\xA9";
        const bool control = length == 0 || first < 0x20 || first == 0x7F || c1_control || line_separator;
        if (control)
            out += '?';
        else
            out += text.substr(0, length);
        text.remove_prefix(std::max<std::size_t>(length, 1));
        ++shown;
    }
    return out + (text.empty() ? "'" : "...'");
}

std::optional<std::string_view> nearest_word(std::string_view text, std::span<const std::string_view> words) {
    if (text.empty() || text.size() > 64) return std::nullopt;
    const std::string plain = simplified(text);
    std::size_t best = plain.size() < 5 ? 2 : 3;  // one more than the slips allowed
    std::optional<std::string_view> found;
    bool tie = false;
    for (const std::string_view word : words) {
        const std::size_t slips = slips_between(plain, word);
        if (slips < best) {
            best = slips;
            found = word;
            tie = false;
        } else if (slips == best && found) {
            tie = true;
        }
    }
    if (found) return tie ? std::nullopt : found;
    for (const std::string_view word : words) {
        if (!contains_at_an_end(word, plain) && !contains_at_an_end(plain, word)) continue;
        if (found) return std::nullopt;
        found = word;
    }
    return found;
}

std::string did_you_mean(std::string_view text, std::span<const std::string_view> words) {
    const auto near = nearest_word(text, words);
    return near ? fmt::format(" (did you mean '{}'?)", *near) : std::string();
}

std::string none_of(std::string_view text, std::span<const std::string_view> words) {
    return fmt::format("{} is none of {}{}", in_quotes(text), fmt::join(words, ", "),
                       did_you_mean(text, words));
}

}  // namespace hushtrace
