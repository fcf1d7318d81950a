#pragma once
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

namespace hushtrace {

using Json = nlohmann::ordered_json;  ///< keeps the order in which the fields were written

/// Reads JSON that may be hostile. Before anything is built it is checked for its size (16 MiB), UTF-8, NUL
/// bytes, depth (32), fields in one object (1000), items in one list (100000), and fields named twice.
///   throws Error invalid_input: "job.json: line 3, column 7: not JSON"
Json parse_safely(std::string_view text, std::string_view label);

/// JSON with what fits into 100 columns on one line, and two spaces for each level where it does not.
std::string pretty(const Json& value);
/// JSON on one line, with a space after each comma and colon.
std::string on_one_line(const Json& value);

}  // namespace hushtrace
