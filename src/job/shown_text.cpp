#include "hushtrace/job/shown_text.hpp"

#include <algorithm>

namespace hushtrace {
namespace {

constexpr std::string_view kReplacement = "\xEF\xBF\xBD";  // U+FFFD

bool is_combining(char32_t c) {
    return (c >= 0x0300 && c <= 0x036F) || (c >= 0x200B && c <= 0x200F) || (c >= 0xFE00 && c <= 0xFE0F) ||
           c == 0xFEFF;
}

// East Asian wide letters and pictographs, by blocks (Unicode, EastAsianWidth.txt, from memory).
bool is_wide(char32_t c) {
    return (c >= 0x1100 && c <= 0x115F) || (c >= 0x2E80 && c <= 0xA4CF) || (c >= 0xAC00 && c <= 0xD7A3) ||
           (c >= 0xF900 && c <= 0xFAFF) || (c >= 0xFE30 && c <= 0xFE6F) || (c >= 0xFF00 && c <= 0xFF60) ||
           (c >= 0xFFE0 && c <= 0xFFE6) || (c >= 0x1F300 && c <= 0x1FAFF) || (c >= 0x20000 && c <= 0x3FFFD);
}

// Letters that turn the reading direction: in a terminal or a page they can make a text show what it doesn't
// say.
bool turns_direction(char32_t c) {
    return (c >= 0x202A && c <= 0x202E) || (c >= 0x2066 && c <= 0x2069);
}

}  // namespace

CodePoint code_point_at(std::string_view text, std::size_t at) {
    const auto byte = [&](std::size_t offset) { return static_cast<unsigned char>(text[at + offset]); };
    const unsigned char first = byte(0);
    if (first < 0x80) return {first, 1, true};
    std::size_t length = 0;
    char32_t value = 0, least = 0;
    if ((first & 0xE0) == 0xC0) {
        length = 2, value = first & 0x1FU, least = 0x80;
    } else if ((first & 0xF0) == 0xE0) {
        length = 3, value = first & 0x0FU, least = 0x800;
    } else if ((first & 0xF8) == 0xF0) {
        length = 4, value = first & 0x07U, least = 0x10000;
    } else {
        return {first, 1, false};
    }
    if (at + length > text.size()) return {first, 1, false};
    for (std::size_t i = 1; i < length; ++i) {
        if ((byte(i) & 0xC0) != 0x80) return {first, 1, false};
        value = (value << 6) | (byte(i) & 0x3FU);
    }
    if (value < least || value > 0x10FFFF || (value >= 0xD800 && value <= 0xDFFF)) return {first, 1, false};
    return {value, length, true};
}

std::string clean_text(std::string_view text) {
    std::string out;
    out.reserve(text.size());
    for (std::size_t at = 0; at < text.size();) {
        const CodePoint point = code_point_at(text, at);
        if (!point.valid)
            out += kReplacement;
        else if (point.value < 0x20 || (point.value >= 0x7F && point.value < 0xA0) ||
                 turns_direction(point.value))
            out += ' ';
        else
            out += text.substr(at, point.bytes);
        at += point.bytes;
    }
    return out;
}

std::size_t display_width(char32_t symbol) {
    return is_combining(symbol) ? 0 : is_wide(symbol) ? 2 : 1;
}

std::size_t display_width(std::string_view text) {
    std::size_t width = 0;
    for (std::size_t at = 0; at < text.size();) {
        const CodePoint point = code_point_at(text, at);
        width += point.valid ? display_width(point.value) : 1;
        at += point.bytes;
    }
    return width;
}

std::vector<std::string> wrap_text(std::string_view text, std::size_t columns) {
    std::vector<std::string> lines;
    std::string line;
    std::size_t line_width = 0;
    const auto end_line = [&] {
        if (!line.empty()) lines.push_back(line);
        line.clear();
        line_width = 0;
    };
    for (std::size_t start = 0; start < text.size();) {
        if (text[start] == ' ' || text[start] == '\n') {
            ++start;
            continue;
        }
        const std::size_t stop = std::min(text.find_first_of(" \n", start), text.size());
        const std::string_view word = text.substr(start, stop - start);
        start = stop;
        const std::size_t word_width = display_width(word);
        if (line_width > 0 && line_width + 1 + word_width > columns) end_line();
        if (line_width > 0) line += ' ', ++line_width;
        if (word_width <= columns) {
            line += word;
            line_width += word_width;
            continue;
        }
        for (std::size_t at = 0; at < word.size();) {  // longer than a line: broken inside
            const CodePoint point = code_point_at(word, at);
            const std::size_t wide = point.valid ? display_width(point.value) : 1;
            if (line_width > 0 && line_width + wide > columns) end_line();
            line += word.substr(at, point.bytes);
            line_width += wide;
            at += point.bytes;
        }
    }
    end_line();
    return lines;
}

std::string spaced(std::string_view word) {
    std::string text(word);
    std::replace(text.begin(), text.end(), '_', ' ');
    return text;
}

}  // namespace hushtrace
