#pragma once
#include <string>
#include <vector>

namespace hushtrace::cli {

struct UsageExample {
    std::string what;   ///< what it does, one line
    std::string line;   ///< as typed, without the prompt
};
/// What a manual page says beside the options.
struct UsageNotes {
    std::string text;
    std::vector<UsageExample> examples;
    std::vector<std::string> pages;   ///< of docs/, that tell more
};
/// throws std::runtime_error for a command that nothing was written for
const UsageNotes& notes_on(const std::string& command);

}  // namespace hushtrace::cli
