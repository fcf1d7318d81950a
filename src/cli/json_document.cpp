#include "json_document.hpp"

#include <fmt/format.h>

#include <utility>

namespace hushtrace::cli {

std::string json_document(std::string_view command, nlohmann::ordered_json input,
                          nlohmann::ordered_json results, const std::vector<Warning>& warnings) {
    nlohmann::ordered_json listed = nlohmann::ordered_json::array();
    for (const Warning& warning : warnings) {
        nlohmann::ordered_json one = {{"code", warning.code}, {"text", warning.text}};
        if (warning.take) one["take"] = *warning.take;
        listed.push_back(std::move(one));
    }
    nlohmann::ordered_json document;
    document["schema"] = fmt::format("hushtrace.{}/1", command);
    document["tool"] = {{"name", "hushtrace"}, {"version", HUSHTRACE_VERSION}};
    document["input"] = std::move(input);
    document["results"] = std::move(results);
    document["warnings"] = std::move(listed);
    // nlohmann writes null for what is not finite
    return document.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace hushtrace::cli
