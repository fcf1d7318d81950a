#include <cstddef>

#include "safe_json.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kWidth = 100;

void append_flat(const Json& value, std::string& out) {
    if (value.empty() || !value.is_structured()) {
        out += value.dump();
        return;
    }
    bool first = true;
    out += value.is_object() ? "{ " : "[";
    for (const auto& item : value.items()) {
        if (!first) out += ", ";
        first = false;
        if (value.is_object()) out += Json(item.key()).dump() + ": ";
        append_flat(item.value(), out);
    }
    out += value.is_object() ? " }" : "]";
}

/// `before`: columns already taken on the line by indentation and the field's name.
void append(const Json& value, std::size_t indent, std::size_t before, std::string& out) {
    const std::string flat = on_one_line(value);
    const bool inside_a_job = indent > 0;
    if (value.empty() || !value.is_structured() || (inside_a_job && before + flat.size() + 1 <= kWidth)) {
        out += flat;
        return;
    }
    bool first = true;
    out += value.is_object() ? '{' : '[';
    for (const auto& item : value.items()) {
        out += first ? "\n" : ",\n";
        first = false;
        out += std::string(indent + 2, ' ');
        const std::string name = value.is_object() ? Json(item.key()).dump() + ": " : std::string();
        out += name;
        append(item.value(), indent + 2, indent + 2 + name.size(), out);
    }
    out += '\n' + std::string(indent, ' ') + (value.is_object() ? '}' : ']');
}

}  // namespace

std::string on_one_line(const Json& value) {
    std::string out;
    append_flat(value, out);
    return out;
}

std::string pretty(const Json& value) {
    std::string out;
    append(value, 0, 0, out);
    return out + '\n';
}

}  // namespace hushtrace
