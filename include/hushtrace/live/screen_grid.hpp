#pragma once
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace hushtrace {

/// What a cell of the screen means to the eye. Each has a look without colours, too; colour never stands alone.
enum class Tint {
    plain,
    strong,  ///< what is to be read first
    bar,     ///< title and what to do next: the terminal's own colours swapped
    good,    ///< on a blue ground
    bad,     ///< on an orange ground
    neutral  ///< on a grey ground
};

struct ScreenCell {
    char32_t symbol = U' ';  ///< 0: covered by the wide symbol to its left
    Tint tint = Tint::plain;
    bool operator==(const ScreenCell&) const = default;
};

/// A screen as data: what is put beside it is cut off, so that nothing that fits nowhere can do harm.
class ScreenGrid {
public:
    /// Sizes below 1 are taken as 1.
    ScreenGrid(int rows, int columns);

    int rows() const { return rows_; }
    int columns() const { return columns_; }
    const ScreenCell& at(int row, int column) const;

    /// Puts text (UTF-8), one line of it: control characters become spaces, combining marks are left out. Returns the column behind it.
    ///   until  the column where it is cut off, with "..." as its last letters; -1: the screen's end
    int put(int row, int column, std::string_view text, Tint tint = Tint::plain, int until = -1);
    void put_symbol(int row, int column, char32_t symbol, Tint tint);
    /// Spaces over a rectangle.
    void fill(int row, int column, int height, int width, Tint tint);
    /// For a terminal that shows ASCII alone: full blocks become '#', arrows '^' and 'v', all else that is foreign '?'.
    void make_ascii();

    /// A row as text (UTF-8), without the spaces at its end.
    std::string line(int row) const;

private:
    ScreenCell& cell(int row, int column);

    int rows_, columns_;
    std::vector<ScreenCell> cells_;
};

}  // namespace hushtrace
