#pragma once
#include <string>
#include <string_view>

namespace hushtrace {

/// Text as one word of a command line: in single quotes where a shell would read more into it.
std::string shell_word(std::string_view text);

}  // namespace hushtrace
