#pragma once
#include <string>
#include <string_view>

namespace hushtrace {

/// Foreign text made safe for HTML and SVG, in elements and in quoted attributes: & < > " ' become entities,
/// control characters become spaces, bytes that are no UTF-8 become U+FFFD.
std::string escaped(std::string_view text);

}  // namespace hushtrace
