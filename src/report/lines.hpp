#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/job.hpp"

/// Builds terminal text, line by line, within 80 columns.
namespace hushtrace {

class Lines {
public:
    static constexpr std::size_t kColumns = 80;
    /// A line of its own, broken where too long; what follows the first is indented like its text.
    void add(std::string_view text, std::size_t indent = 0, std::string_view bullet = "");
    /// An empty line, then a title underlined.
    void title(std::string_view text);
    void gap();
    /// A table's row: its spacing is kept where it fits, broken like any text where it doesn't.
    void row(std::string_view text, std::size_t indent);
    const std::string& text() const { return text_; }

private:
    std::string text_;
};

/// Text padded with spaces to so many columns.
std::string padded(std::string_view text, std::size_t columns);

/// The warnings under their title; nothing where there are none.
void tell_warnings(Lines& lines, const std::vector<Warning>& warnings);

}  // namespace hushtrace
