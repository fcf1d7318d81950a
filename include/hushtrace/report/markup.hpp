#pragma once
#include <cstddef>
#include <string>
#include <string_view>

namespace hushtrace {

/// Foreign text made safe for HTML and SVG, in elements and in quoted attributes: & < > " ' become entities,
/// control characters become spaces, bytes that are no UTF-8 and what XML forbids (U+FFFE, U+FFFF) become U+FFFD.
std::string escaped(std::string_view text);

/// The same for HTML text alone, set apart in <bdi> where it holds letters that are read from right to left, so that it doesn't
/// turn round what stands beside it.
std::string isolated(std::string_view text);
/// Whether a text holds such letters (Hebrew, Arabic and their neighbours by Unicode's blocks).
bool reads_from_right(std::string_view text);

/// A text of at most `columns` columns, and at most as many code points: a longer one ends in "…". Not escaped.
///   columns   1 or more
std::string shortened(std::string_view text, std::size_t columns);

}  // namespace hushtrace
