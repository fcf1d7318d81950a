#include "hushtrace/live/large_letters.hpp"

#include <algorithm>
#include <array>
#include <cstddef>

namespace hushtrace {
namespace {

/// Drawn on five rows. In a taller letter the second and the fourth become longer; from ten rows on strokes are thicker and all is
/// wider by as much.
struct Letter {
    char symbol = 0;
    std::array<std::string_view, 5> rows;
};

constexpr std::array letters = {
    Letter{'0', {".####.", "##..##", "##..##", "##..##", ".####."}},
    Letter{'1', {"..##..", "####..", "..##..", "..##..", "..##.."}},
    Letter{'2', {"#####.", "....##", ".####.", "##....", "######"}},
    Letter{'3', {"#####.", "....##", "..###.", "....##", "#####."}},
    Letter{'4', {"##..##", "##..##", "######", "....##", "....##"}},
    Letter{'5', {"######", "##....", "#####.", "....##", "#####."}},
    Letter{'6', {".####.", "##....", "#####.", "##..##", ".####."}},
    Letter{'7', {"######", "....##", "...##.", "..##..", "..##.."}},
    Letter{'8', {".####.", "##..##", ".####.", "##..##", ".####."}},
    Letter{'9', {".####.", "##..##", ".#####", "....##", ".####."}},
    Letter{'A', {".####.", "##..##", "######", "##..##", "##..##"}},
    Letter{'B', {"#####.", "##..##", "#####.", "##..##", "#####."}},
    Letter{'C', {".#####", "##....", "##....", "##....", ".#####"}},
    Letter{'D', {"#####.", "##..##", "##..##", "##..##", "#####."}},
    Letter{'E', {"######", "##....", "#####.", "##....", "######"}},
    Letter{'F', {"######", "##....", "#####.", "##....", "##...."}},
    Letter{'G', {".#####", "##....", "##.###", "##..##", ".#####"}},
    Letter{'H', {"##..##", "##..##", "######", "##..##", "##..##"}},
    Letter{'I', {"##", "##", "##", "##", "##"}},
    Letter{'J', {"....##", "....##", "....##", "##..##", ".####."}},
    Letter{'K', {"##..##", "##.##.", "####..", "##.##.", "##..##"}},
    Letter{'L', {"##....", "##....", "##....", "##....", "######"}},
    Letter{'M', {"##...##", "###.###", "#######", "##.#.##", "##...##"}},
    Letter{'N', {"##..##", "###.##", "######", "##.###", "##..##"}},
    Letter{'O', {".####.", "##..##", "##..##", "##..##", ".####."}},
    Letter{'P', {"#####.", "##..##", "#####.", "##....", "##...."}},
    Letter{'Q', {".####.", "##..##", "##..##", "##.##.", ".##.##"}},
    Letter{'R', {"#####.", "##..##", "#####.", "##.##.", "##..##"}},
    Letter{'S', {".#####", "##....", ".####.", "....##", "#####."}},
    Letter{'T', {"######", "..##..", "..##..", "..##..", "..##.."}},
    Letter{'U', {"##..##", "##..##", "##..##", "##..##", ".####."}},
    Letter{'V', {"##..##", "##..##", "##..##", ".####.", "..##.."}},
    Letter{'W', {"##...##", "##.#.##", "#######", "###.###", "##...##"}},
    Letter{'X', {"##..##", ".####.", "..##..", ".####.", "##..##"}},
    Letter{'Y', {"##..##", "##..##", ".####.", "..##..", "..##.."}},
    Letter{'Z', {"######", "....##", "..##..", "##....", "######"}},
    Letter{'d', {"....##", "....##", ".#####", "##..##", ".#####"}},
    Letter{'m', {".......", ".......", "######.", "##.#.##", "##.#.##"}},
    Letter{'-', {"....", "....", "####", "....", "...."}},
    Letter{'+', {"......", "..##..", "######", "..##..", "......"}},
    Letter{'<', {"....##", "..##..", "##....", "..##..", "....##"}},
    Letter{'.', {"..", "..", "..", "..", "##"}},
    Letter{',', {"..", "..", "..", "##", "#."}},
    Letter{'%', {"##..##", "...##.", "..##..", ".##...", "##..##"}},
    Letter{'^', {"...##...", "..####..", ".######.", "##.##.##", "...##..."}},
    Letter{'v', {"...##...", "##.##.##", ".######.", "..####..", "...##..."}},
    Letter{' ', {"...", "...", "...", "...", "..."}},
};

const Letter* letter(char symbol) {
    const auto* const found =
        std::find_if(letters.begin(), letters.end(), [symbol](const Letter& one) { return one.symbol == symbol; });
    return found == letters.end() ? nullptr : found;
}

/// How thick a stroke is: so many rows, and twice as many columns, since a cell is about twice as tall as it is wide.
int stroke(int rows) {
    return std::clamp(rows / 5, 1, 3);
}

/// Rows that a row of the drawing takes in a letter so tall.
int rows_of(std::size_t row, int rows) {
    const int between = rows - 3 * stroke(rows);
    if (row == 1) return between - between / 2;
    return row == 3 ? between / 2 : stroke(rows);
}

int gap(int rows) {
    return rows < 7 ? 1 : 2 * stroke(rows);
}

int width_of(const Letter& one, int rows) {
    return static_cast<int>(one.rows[0].size()) * stroke(rows);
}

void put_letter(ScreenGrid& grid, int top, int left, const Letter& one, int rows, Tint tint) {
    int y = top;
    for (std::size_t row = 0; row < one.rows.size(); ++row)
        for (int again = 0; again < rows_of(row, rows); ++again, ++y)
            for (int x = 0; x < width_of(one, rows); ++x)
                if (one.rows[row][static_cast<std::size_t>(x / stroke(rows))] == '#') grid.put_symbol(y, left + x, U'█', tint);
}

}  // namespace

bool has_large_letters(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char symbol) { return letter(symbol) != nullptr; });
}

int large_width(std::string_view text, int rows) {
    rows = std::max(rows, least_letter_rows);
    int width = 0;
    for (const char symbol : text)
        if (const Letter* const one = letter(symbol)) width += (width > 0 ? gap(rows) : 0) + width_of(*one, rows);
    return width;
}

int put_large(ScreenGrid& grid, int row, int column, std::string_view text, int rows, Tint tint) {
    rows = std::max(rows, least_letter_rows);
    bool first = true;
    for (const char symbol : text) {
        const Letter* const one = letter(symbol);
        if (one == nullptr) continue;
        if (!first) column += gap(rows);
        first = false;
        put_letter(grid, row, column, *one, rows, tint);
        column += width_of(*one, rows);
    }
    return column;
}

}  // namespace hushtrace
