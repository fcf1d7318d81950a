#include "lines.hpp"

#include <algorithm>

#include "hushtrace/report/wording.hpp"

namespace hushtrace {

void Lines::add(std::string_view text, std::size_t indent, std::string_view bullet) {
    const std::size_t inner = indent + display_width(bullet);
    std::string lead = std::string(indent, ' ') + std::string(bullet);
    for (const std::string& line : wrap_text(clean_text(text), kColumns - inner)) {
        text_ += lead + line + "\n";
        lead.assign(inner, ' ');
    }
}

void Lines::title(std::string_view text) {
    if (!text_.empty()) gap();
    const std::string clean = clean_text(text);
    add(clean);
    text_ += std::string(std::min(kColumns, display_width(clean)), '-') + "\n";
}

void Lines::gap() {
    if (text_.size() < 2 || text_.compare(text_.size() - 2, 2, "\n\n") != 0) text_ += "\n";
}

void Lines::row(std::string_view text, std::size_t indent) {
    const std::string clean = clean_text(text);
    if (indent + display_width(clean) > kColumns) return add(clean, indent);
    text_ += std::string(indent, ' ') + clean + "\n";
}

void tell_warnings(Lines& lines, const std::vector<Warning>& warnings) {
    if (warnings.empty()) return;
    lines.title("Warnings");
    for (const Warning& one : warnings) {
        const bool named = !one.take || one.text.find(*one.take) != std::string::npos;
        lines.add(named ? one.text : *one.take + ": " + one.text, 0, "! ");
    }
}

std::string padded(std::string_view text, std::size_t columns) {
    const std::size_t width = display_width(text);
    return std::string(text) + std::string(width < columns ? columns - width : 0, ' ');
}

}  // namespace hushtrace
