#include "hushtrace/live/screen_grid.hpp"

#include <algorithm>

#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

void append_utf8(std::string& text, char32_t symbol) {
    const auto tail = [&](unsigned shift) { text += static_cast<char>(0x80U | ((symbol >> shift) & 0x3FU)); };
    if (symbol < 0x80) {
        text += static_cast<char>(symbol);
    } else if (symbol < 0x800) {
        text += static_cast<char>(0xC0U | (symbol >> 6));
        tail(0);
    } else if (symbol < 0x10000) {
        text += static_cast<char>(0xE0U | (symbol >> 12));
        tail(6), tail(0);
    } else {
        text += static_cast<char>(0xF0U | (symbol >> 18));
        tail(12), tail(6), tail(0);
    }
}

char32_t in_ascii(char32_t symbol) {
    if (symbol < 0x80) return symbol;
    switch (symbol) {
        case U'█': return U'#';
        case U'↑': return U'^';
        case U'↓': return U'v';
        case U'±': return U'~';
        default: return U'?';
    }
}

}  // namespace

ScreenGrid::ScreenGrid(int rows, int columns)
    : rows_(std::max(rows, 1)), columns_(std::max(columns, 1)),
      cells_(static_cast<std::size_t>(rows_) * static_cast<std::size_t>(columns_)) {}

ScreenCell& ScreenGrid::cell(int row, int column) {
    return cells_[static_cast<std::size_t>(row) * static_cast<std::size_t>(columns_) + static_cast<std::size_t>(column)];
}

const ScreenCell& ScreenGrid::at(int row, int column) const {
    return const_cast<ScreenGrid*>(this)->cell(row, column);
}

void ScreenGrid::put_symbol(int row, int column, char32_t symbol, Tint tint) {
    if (row < 0 || row >= rows_ || column < 0 || column >= columns_) return;
    ScreenCell& here = cell(row, column);
    if (here.symbol == 0 && column > 0) cell(row, column - 1).symbol = U' ';  // half of a wide symbol is gone
    if (column + 1 < columns_ && cell(row, column + 1).symbol == 0) cell(row, column + 1).symbol = U' ';
    here = {symbol, tint};
}

int ScreenGrid::put(int row, int column, std::string_view text, Tint tint, int until) {
    const int end = until < 0 ? columns_ : std::min(until, columns_);
    const std::string clean = clean_text(text);
    const int room = end - column;
    const bool cut = static_cast<int>(display_width(clean)) > room;
    const int last = cut && room > 6 ? end - 3 : end;
    for (std::size_t at = 0; at < clean.size();) {
        const CodePoint point = code_point_at(clean, at);
        at += point.bytes;
        const int wide = static_cast<int>(display_width(point.value));
        if (wide == 0) continue;
        if (column + wide > last) break;
        put_symbol(row, column, point.value, tint);
        if (wide == 2) {
            put_symbol(row, column + 1, U' ', tint);
            if (row >= 0 && row < rows_ && column >= 0) cell(row, column + 1).symbol = 0;
        }
        column += wide;
    }
    if (cut && room > 6)
        for (int dot = 0; dot < 3; ++dot) put_symbol(row, column++, U'.', tint);
    return column;
}

void ScreenGrid::fill(int row, int column, int height, int width, Tint tint) {
    for (int y = row; y < row + height; ++y)
        for (int x = column; x < column + width; ++x) put_symbol(y, x, U' ', tint);
}

void ScreenGrid::make_ascii() {
    for (ScreenCell& one : cells_) one.symbol = one.symbol == 0 ? U' ' : in_ascii(one.symbol);
}

std::string ScreenGrid::line(int row) const {
    std::string text;
    for (int column = 0; column < columns_; ++column)
        if (const char32_t symbol = at(row, column).symbol; symbol != 0) append_utf8(text, symbol);
    text.erase(text.find_last_not_of(' ') + 1);
    return text;
}

}  // namespace hushtrace
