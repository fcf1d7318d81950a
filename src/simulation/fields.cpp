#include "fields.hpp"

#include <fmt/core.h>

#include <cmath>

#include "hushtrace/signal/error.hpp"

namespace hushtrace::simulated {

using nlohmann::json;

std::string in_one_line(std::string_view text) {
    constexpr std::size_t longest = 200;
    std::string line(text.substr(0, longest));
    const auto inside_letter = [&] { return (static_cast<unsigned char>(text[line.size()]) & 0xC0U) == 0x80; };   // UTF-8
    while (line.size() < text.size() && !line.empty() && inside_letter()) line.pop_back();
    for (char& c : line)
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = '?';
    return line.size() < text.size() ? line + "..." : line;
}

Fields::Fields(const json& object, std::string file, std::string where)
    : object_(&object), file_(std::move(file)), where_(std::move(where)) {
    if (!object.is_object()) {
        throw Error(ErrorKind::invalid_input,
                    fmt::format("{}: {}: must be an object in braces, found {}", file_,
                                where_.empty() ? "the whole file" : where_, object.type_name()));
    }
    if (object.contains("note")) asked_.insert("note");  // a remark for whoever edits the file
}

std::string Fields::place(const std::string& name) const {
    return where_.empty() ? name : where_ + "." + name;
}

void Fields::refuse(const std::string& name, const std::string& reason) const {
    throw Error(ErrorKind::invalid_input, fmt::format("{}: {}: {}", file_, in_one_line(place(name)), in_one_line(reason)));
}

bool Fields::has(const char* name) {
    asked_.insert(name);
    const auto found = object_->find(name);
    return found != object_->end() && !found->is_null();
}

const json& Fields::need(const char* name) {
    if (!has(name)) refuse(name, "missing");
    return object_->at(name);
}

double Fields::checked(const std::string& name, const json& value, double lowest, double highest) const {
    if (!value.is_number()) refuse(name, fmt::format("must be a number, found {}", value.type_name()));
    const double number = value.get<double>();
    if (!std::isfinite(number)) refuse(name, "must be a finite number");
    if (number < lowest || number > highest)
        refuse(name, fmt::format("must lie from {} to {}, found {}", lowest, highest, number));
    return number;
}

double Fields::number(const char* name, double lowest, double highest) {
    return checked(name, need(name), lowest, highest);
}
double Fields::number_or(const char* name, double otherwise, double lowest, double highest) {
    return has(name) ? number(name, lowest, highest) : otherwise;
}
std::optional<double> Fields::maybe_number(const char* name, double lowest, double highest) {
    if (!has(name)) return std::nullopt;
    return number(name, lowest, highest);
}
int Fields::whole(const char* name, int lowest, int highest) {
    const double value = number(name, lowest, highest);
    if (value != std::floor(value)) refuse(name, fmt::format("must be a whole number, found {}", value));
    return static_cast<int>(value);
}
int Fields::whole_or(const char* name, int otherwise, int lowest, int highest) {
    return has(name) ? whole(name, lowest, highest) : otherwise;
}
bool Fields::flag_or(const char* name, bool otherwise) {
    if (!has(name)) return otherwise;
    const json& value = need(name);
    if (!value.is_boolean()) refuse(name, fmt::format("must be true or false, found {}", value.type_name()));
    return value.get<bool>();
}
std::string Fields::text(const char* name) {
    const json& value = need(name);
    if (!value.is_string())
        refuse(name, fmt::format("must be a text in quotes, found {}", value.type_name()));
    return value.get<std::string>();
}
std::string Fields::text_or(const char* name, const std::string& otherwise) {
    return has(name) ? text(name) : otherwise;
}

std::array<double, 2> Fields::pair(const char* name, double lowest, double highest) {
    const json& value = need(name);
    if (!value.is_array() || value.size() != 2) refuse(name, "must be a list of two numbers");
    return {checked(fmt::format("{}[0]", name), value[0], lowest, highest),
            checked(fmt::format("{}[1]", name), value[1], lowest, highest)};
}

std::vector<std::array<double, 2>> Fields::pairs(const char* name, double lowest, double highest) {
    const json& value = need(name);
    if (!value.is_array()) refuse(name, "must be a list of pairs of numbers");
    std::vector<std::array<double, 2>> result;
    for (std::size_t i = 0; i < value.size(); ++i) {
        const std::string entry = fmt::format("{}[{}]", name, i);
        if (!value[i].is_array() || value[i].size() != 2) refuse(entry, "must be a pair of numbers");
        result.push_back({checked(entry + "[0]", value[i][0], lowest, highest),
                          checked(entry + "[1]", value[i][1], lowest, highest)});
    }
    return result;
}

Fields Fields::object(const char* name) {
    return Fields(need(name), file_, place(name));
}

std::vector<Fields> Fields::objects(const char* name) {
    std::vector<Fields> result;
    if (!has(name)) return result;
    const json& value = need(name);
    if (!value.is_array()) refuse(name, fmt::format("must be a list, found {}", value.type_name()));
    for (std::size_t i = 0; i < value.size(); ++i)
        result.emplace_back(value[i], file_, place(fmt::format("{}[{}]", name, i)));
    return result;
}

void Fields::finish() const {
    for (const auto& entry : object_->items())
        if (!asked_.contains(entry.key())) refuse(entry.key(), "unknown field");
}

}  // namespace hushtrace::simulated
