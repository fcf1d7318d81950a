#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

/// Text in rows and columns, as spreadsheets and loggers write it.
namespace hushtrace {

/// The text as UTF-8: byte order marks taken off, UTF-16 decoded (also without a mark, where every second byte of its
/// beginning is zero), other single-byte text read as ISO 8859-1. Nothing when it holds zero bytes: no text.
std::optional<std::string> as_utf8(std::string_view bytes);

/// Lines without their ends (LF, CR LF or CR), without blank ones; comments, less their marks, are kept apart.
struct TableLines {
    std::vector<std::string_view> rows, comments;
};
TableLines lines_of_table(std::string_view text);

/// The delimiter: one that the text names ("sep=;"), else the one that divides its lines most evenly. A tab, a
/// semicolon and a bar go before a comma, which may be a decimal mark. 0 when no line is divided.
char delimiter_of(const std::vector<std::string_view>& lines);

/// A line's cells, trimmed, quotes taken off.
std::vector<std::string> cells_of(std::string_view line, char delimiter);

enum class DecimalMark { point, comma };
/// A number, with marks between thousands where they are plain. Nothing for anything else; never NaN or infinity.
std::optional<double> number_in(std::string_view cell, DecimalMark mark);

}  // namespace hushtrace
