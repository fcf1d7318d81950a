#include "field_reader.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

std::string wanted(std::string_view what, const Json& value) {
    return value.is_string() ? fmt::format("{} is wanted, not the text {}", what,
                                           in_quotes(value.get_ref<const std::string&>()))
                             : fmt::format("{} is wanted, not {}", what, type_of(value));
}

std::string shown_name(const std::string& name) {
    const std::string quotes = in_quotes(name);
    return quotes.substr(1, quotes.size() - 2);
}

}  // namespace

void JsonReading::refuse(const std::string& path, const std::string& why) const {
    throw Error(ErrorKind::invalid_input, fmt::format("{}: {}: {}", label, path, why));
}

void JsonReading::warn(std::string code, const std::string& path, const std::string& why,
                   std::optional<std::string> take) {
    warnings.push_back({std::move(code), fmt::format("{}: {}: {}", label, path, why), std::move(take)});
}

std::string_view type_of(const Json& value) {
    if (value.is_object()) return "an object";
    if (value.is_array()) return "a list";
    if (value.is_string()) return "a text";
    if (value.is_boolean()) return "true or false";
    if (value.is_number()) return "a number";
    return "null";
}

double number_of(const Json& value, const std::string& path, const JsonReading& reading, Range range) {
    if (!value.is_number()) reading.refuse(path, wanted("a number", value));
    const double number = value.get<double>();
    if (!std::isfinite(number)) reading.refuse(path, "is too large a number");
    if (number < range.lowest || (number == range.lowest && !range.lowest_itself)) {
        if (range.lowest == 0)
            reading.refuse(path,
                           fmt::format("{} is {}", number, range.lowest_itself ? "negative" : "not above 0"));
        reading.refuse(path, fmt::format("{} is below {}", number, range.lowest));
    }
    if (number > range.highest) reading.refuse(path, fmt::format("{} is above {}", number, range.highest));
    return number;
}

std::string string_of(const Json& value, const std::string& path, const JsonReading& reading) {
    if (!value.is_string()) reading.refuse(path, wanted("a text", value));
    return value.get<std::string>();
}

Fields::Fields(const Json& value, std::string path, JsonReading& reading)
    : value_(value), path_(std::move(path)), reading_(reading) {
    if (!value.is_object()) reading_.refuse(path_.empty() ? "the whole" : path_, wanted("an object", value));
}

std::string Fields::path_of(std::string_view name) const {
    return path_.empty() ? std::string(name) : fmt::format("{}.{}", path_, name);
}

std::string Fields::item_path(std::string_view name, std::size_t index) const {
    return fmt::format("{}[{}]", path_of(name), index);
}

void Fields::refuse(std::string_view name, const std::string& why) const {
    reading_.refuse(path_of(name), why);
}

const Json* Fields::find(std::string_view name) {
    if (std::find(asked_.begin(), asked_.end(), name) == asked_.end()) asked_.push_back(name);
    const auto found = value_.find(std::string(name));
    return found == value_.end() || found->is_null() ? nullptr : &*found;
}

const Json* Fields::list_of(std::string_view name) {
    const Json* value = find(name);
    if (value && !value->is_array()) refuse(name, wanted("a list", *value));
    return value;
}

std::optional<double> Fields::number(std::string_view name, Range range) {
    const Json* value = find(name);
    if (!value) return std::nullopt;
    return number_of(*value, path_of(name), reading_, range);
}

std::optional<int> Fields::whole_number(std::string_view name, int lowest, int highest) {
    const auto value = number(name, {static_cast<double>(lowest), static_cast<double>(highest), true});
    if (!value) return std::nullopt;
    if (*value != std::floor(*value)) refuse(name, fmt::format("{} is no whole number", *value));
    return static_cast<int>(*value);
}

std::optional<bool> Fields::yes_or_no(std::string_view name) {
    const Json* value = find(name);
    if (!value) return std::nullopt;
    if (!value->is_boolean()) refuse(name, wanted("true or false", *value));
    return value->get<bool>();
}

std::optional<std::string> Fields::text(std::string_view name) {
    const Json* value = find(name);
    if (!value) return std::nullopt;
    return string_of(*value, path_of(name), reading_);
}

std::optional<std::string> Fields::path(std::string_view name) {
    const auto spelled = text(name);
    if (!spelled) return std::nullopt;
    const std::filesystem::path file(*spelled);
    if (spelled->empty()) refuse(name, "is empty");
    if (spelled->size() > 1000) refuse(name, "is longer than 1000 bytes");
    if (file.has_root_path())   // on Windows a drive alone, too
        refuse(name, in_quotes(*spelled) + " leaves the job folder; write it relative to job.json");
    for (const auto& part : file)
        if (part == "..") refuse(name, in_quotes(*spelled) + " leaves the job folder");
    const auto normal = file.lexically_normal();
    if (!normal.has_filename() || normal == ".")
        refuse(name, in_quotes(*spelled) + " names a folder, not a file");
    if (std::any_of(spelled->begin(), spelled->end(),
                    [](char c) { return static_cast<unsigned char>(c) < 0x20; }))
        refuse(name, in_quotes(*spelled) + " holds control characters");
    return file.generic_string();   // a job moves between systems
}

std::vector<double> Fields::numbers(std::string_view name, Range range) {
    std::vector<double> found;
    const Json* list = list_of(name);
    for (std::size_t i = 0; list && i < list->size(); ++i)
        found.push_back(number_of((*list)[i], item_path(name, i), reading_, range));
    return found;
}

std::vector<std::optional<double>> Fields::numbers_or_nulls(std::string_view name, Range range) {
    std::vector<std::optional<double>> found;
    const Json* list = list_of(name);
    for (std::size_t i = 0; list && i < list->size(); ++i) {
        const Json& value = (*list)[i];
        found.push_back(value.is_null()
                            ? std::nullopt
                            : std::optional(number_of(value, item_path(name, i), reading_, range)));
    }
    return found;
}

std::vector<std::string> Fields::texts(std::string_view name) {
    const Json* value = find(name);
    if (value && value->is_string()) return {value->get<std::string>()};
    std::vector<std::string> found;
    const Json* list = list_of(name);
    for (std::size_t i = 0; list && i < list->size(); ++i)
        found.push_back(string_of((*list)[i], item_path(name, i), reading_));
    return found;
}

void Fields::finish() {
    for (const auto& item : value_.items()) {
        if (std::find(asked_.begin(), asked_.end(), item.key()) != asked_.end()) continue;
        if (++reading_.unknown_fields > kMostUnknownShown) continue;
        reading_.warn("unknown_field", path_of(shown_name(item.key())),
                      "no field that we know; it is kept" + did_you_mean(item.key(), asked_));
    }
}

}  // namespace hushtrace
