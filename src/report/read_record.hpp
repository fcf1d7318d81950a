#pragma once
#include <filesystem>
#include <initializer_list>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

/// Records that were written before, by this version or another: read without trusting their form.
namespace hushtrace {

/// A document of the schema hushtrace.report/1, or nothing with `why` in a few words ("is no JSON").
std::optional<nlohmann::ordered_json> read_record(const std::filesystem::path& file, std::string& why);

/// What stands at the end of a path of keys; null where any of them is missing.
const nlohmann::ordered_json& value_at(const nlohmann::ordered_json& whole, std::initializer_list<const char*> path);
/// The same where a text is wanted; empty for all else.
std::string text_at(const nlohmann::ordered_json& whole, std::initializer_list<const char*> path);
/// The items of a list there; none where there is no list. Items that are no objects are left out.
std::vector<nlohmann::ordered_json> objects_at(const nlohmann::ordered_json& whole, std::initializer_list<const char*> path);

/// The files of records/kept/, the newest first as their names say it; nothing is read.
std::vector<std::filesystem::path> kept_files(const std::filesystem::path& job_folder);
/// "records/kept/NAME: is no JSON; it is passed over"
std::string passed_over(const std::filesystem::path& kept_file, const std::string& why);

/// A file's name without its folder, fit to be shown.
std::string quoted_name(const std::filesystem::path& file);

}  // namespace hushtrace
