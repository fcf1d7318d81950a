#pragma once
#include <cstddef>
#include <string>
#include <vector>

namespace hushtrace {

/// A text as a square of dark and light fields that a phone's camera reads (ISO/IEC 18004), without its light border.
struct ScanCode {
    std::size_t side = 0;    ///< fields along an edge
    std::vector<bool> dark;  ///< [side * side], row by row from the top left
};
/// Capitals, digits and "$%*+-./: " give the smallest code.
///   throws Error invalid_request for text that no code holds
ScanCode scan_code(const std::string& text);

enum class CodeStyle {
    half_blocks,  ///< UTF-8, two rows of fields a line, a dark field is ink: for black ink on white
    coloured,     ///< the same, between the escape sequences that make a terminal's line black on white
    ascii         ///< '#' twice for a dark field: for a printer, or a terminal that knows neither
};
/// Lines of equal width, with the light border of four fields on each side that the standard asks for.
std::vector<std::string> draw_scan_code(const ScanCode& code, CodeStyle style);

}  // namespace hushtrace
