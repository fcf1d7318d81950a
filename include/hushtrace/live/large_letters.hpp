#pragma once
#include <string_view>

#include "hushtrace/live/screen_grid.hpp"

/// Letters made of blocks, several rows tall, to be read from two metres. Any height from 5 rows on.
namespace hushtrace {

inline constexpr int least_letter_rows = 5;

/// Whether all of the text can be set: capitals, digits, and " .,-+<%dm", and arrows up and down as "^" and "v".
bool has_large_letters(std::string_view text);
/// Columns that the text takes; 0 for empty text.
int large_width(std::string_view text, int rows);
/// Puts the text with its upper left corner at row and column; letters that there aren't are left out.
///   returns  the column behind its last letter
int put_large(ScreenGrid& grid, int row, int column, std::string_view text, int rows, Tint tint);

}  // namespace hushtrace
