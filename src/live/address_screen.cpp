#include "hushtrace/live/address_screen.hpp"

#include <algorithm>

#include "hushtrace/live/scan_code.hpp"

namespace hushtrace {

ScreenGrid address_screen(const std::string& address, int rows, int columns, bool unicode) {
    ScreenGrid grid(rows, columns);
    const ScanCode code = scan_code(address);
    const auto lines = draw_scan_code(code, unicode ? CodeStyle::half_blocks : CodeStyle::ascii);
    const int wide = static_cast<int>(code.side + 8) * (unicode ? 1 : 2), high = static_cast<int>(lines.size());
    int row = 0;
    if (wide <= grid.columns() && high <= grid.rows()) {
        const int left = (grid.columns() - wide) / 2;
        for (const std::string& line : lines) grid.put(row++, left, line, Tint::neutral);
    }
    const auto width = static_cast<std::size_t>(grid.columns());
    for (std::size_t at = 0; at < address.size(); at += width) grid.put(row++, 0, address.substr(at, width), Tint::strong);
    grid.put(std::min(row, grid.rows() - 1), 0, row < grid.rows() ? "p: back to the figures" : "");
    return grid;
}

}  // namespace hushtrace
