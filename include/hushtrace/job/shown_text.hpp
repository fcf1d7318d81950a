#pragma once
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

/// Text from a job made fit to be shown, on a page or a terminal. All text is UTF-8.
namespace hushtrace {

/// One code point of a text; `valid` is false for bytes that are no UTF-8 (overlong forms and surrogates
/// too).
struct CodePoint {
    char32_t value = 0;
    std::size_t bytes = 1;
    bool valid = false;
};

/// The code point that starts at `at`. Bytes that don't form one are handed back one by one.
///   at   below text.size()
CodePoint code_point_at(std::string_view text, std::size_t at);

/// Makes foreign text fit to be shown: control characters (a terminal's escape sequences among them) become
/// spaces, bytes that are no UTF-8 become U+FFFD.
std::string clean_text(std::string_view text);

/// Columns that a code point takes on a terminal: two for the wide letters of East Asia, none for combining marks.
std::size_t display_width(char32_t symbol);
/// Columns that text takes on a terminal; a byte that is no UTF-8 counts as one.
std::size_t display_width(std::string_view text);

/// Breaks text into lines of at most `columns`; a word that is longer is broken inside.
///   columns   1 or more; lines never end in a space; text without words gives no lines
std::vector<std::string> wrap_text(std::string_view text, std::size_t columns);

/// A word of job.json for people: underscores become spaces.
std::string spaced(std::string_view word);

}  // namespace hushtrace
