#pragma once
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "hushtrace/job/job.hpp"

namespace hushtrace::cli {

/// One command's document: { schema "hushtrace.<command>/1", tool, input, results, warnings }, keys in that
/// order. Text that is no UTF-8 is repaired with U+FFFD, a number that is not finite becomes null. Ends in a
/// newline.
std::string json_document(std::string_view command, nlohmann::ordered_json input,
                          nlohmann::ordered_json results, const std::vector<Warning>& warnings);

}  // namespace hushtrace::cli
