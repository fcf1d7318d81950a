#include "hushtrace/live/scan_code.hpp"

#include <qrencode.h>

#include <memory>
#include <string_view>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t border = 4;

/// Whether a field is dark, the border included.
bool is_dark(const ScanCode& code, std::size_t row, std::size_t column) {
    if (row < border || column < border || row >= border + code.side || column >= border + code.side) return false;
    return code.dark[(row - border) * code.side + column - border];
}

std::string_view half_block(bool upper, bool lower) {
    if (upper) return lower ? "\u2588" : "\u2580";
    return lower ? "\u2584" : " ";
}

}  // namespace

ScanCode scan_code(const std::string& text) {
    if (text.empty() || text.find('\0') != std::string::npos) throw Error(ErrorKind::invalid_request, "a code to scan needs a text");
    const std::unique_ptr<QRcode, decltype(&QRcode_free)> made(
        QRcode_encodeString(text.c_str(), 0, QR_ECLEVEL_M, QR_MODE_8, 1), &QRcode_free);
    if (!made) throw Error(ErrorKind::invalid_request, "the text is too long for a code to scan");
    ScanCode code{.side = static_cast<std::size_t>(made->width), .dark = {}};
    for (std::size_t i = 0; i < code.side * code.side; ++i) code.dark.push_back((made->data[i] & 1U) != 0);
    return code;
}

std::vector<std::string> draw_scan_code(const ScanCode& code, CodeStyle style) {
    const std::size_t side = code.side + 2 * border;
    std::vector<std::string> lines;
    for (std::size_t row = 0; row < side; row += style == CodeStyle::ascii ? 1 : 2) {
        std::string line = style == CodeStyle::coloured ? "\x1b[38;5;16;48;5;231m" : "";
        for (std::size_t column = 0; column < side; ++column) {
            if (style == CodeStyle::ascii)
                line += is_dark(code, row, column) ? "##" : "  ";
            else
                line += half_block(is_dark(code, row, column), is_dark(code, row + 1, column));
        }
        if (style == CodeStyle::coloured) line += "\x1b[0m";
        lines.push_back(std::move(line));
    }
    return lines;
}

}  // namespace hushtrace
