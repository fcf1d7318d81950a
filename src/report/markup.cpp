#include "hushtrace/report/markup.hpp"

#include "hushtrace/report/wording.hpp"

namespace hushtrace {

namespace {

/// XML 1.0, production 2: among what UTF-8 can spell and clean_text leaves, these two alone are no characters.
std::string fit_for_xml(std::string text) {
    for (const std::string_view forbidden : {"\xEF\xBF\xBE", "\xEF\xBF\xBF"})
        for (std::size_t at = text.find(forbidden); at != std::string::npos; at = text.find(forbidden, at))
            text.replace(at, forbidden.size(), "\xEF\xBF\xBD");
    return text;
}

}  // namespace

bool reads_from_right(std::string_view text) {
    for (std::size_t at = 0; at < text.size();) {
        const CodePoint point = code_point_at(text, at);
        const char32_t c = point.value;
        if (point.valid && ((c >= 0x0590 && c <= 0x08FF) || (c >= 0xFB1D && c <= 0xFDFF) || (c >= 0xFE70 && c <= 0xFEFC) ||
                            (c >= 0x10800 && c <= 0x10FFF) || (c >= 0x1E800 && c <= 0x1EFFF) || c == 0x200F))
            return true;
        at += point.bytes;
    }
    return false;
}

std::string isolated(std::string_view text) { return reads_from_right(text) ? "<bdi>" + escaped(text) + "</bdi>" : escaped(text); }

std::string shortened(std::string_view text, std::size_t columns) {
    std::string out;
    std::size_t width = 0, points = 0, last_fit = 0;
    for (std::size_t at = 0; at < text.size(); ++points) {
        const CodePoint point = code_point_at(text, at);
        width += point.valid ? display_width(point.value) : 1;
        if (width > columns || points >= columns) return out.substr(0, last_fit) + "…";
        out += text.substr(at, point.bytes);
        if (width < columns && points + 1 < columns) last_fit = out.size();
        at += point.bytes;
    }
    return out;
}

std::string escaped(std::string_view text) {
    std::string out;
    for (const char c : fit_for_xml(clean_text(text))) switch (c) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            case '\'':
                out += "&#39;";
                break;
            default:
                out += c;
        }
    return out;
}

}  // namespace hushtrace
