#include "offers.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <sstream>

namespace hushtrace::cli {

CLI::Option* offer(CLI::Option* option, const std::vector<std::string>& words) {
    // CLI11 keeps nothing with an option but checks: the words ride in the name of one that is switched off.
    return option->check(CLI::Validator().name(fmt::format("{}", fmt::join(words, " "))).active(false));
}

std::vector<std::string> as_offer(std::span<const std::string_view> words, const std::string& ending) {
    std::vector<std::string> offered;
    for (const std::string_view word : words) offered.push_back(std::string(word) + ending);
    return offered;
}

std::vector<std::string> offered(CLI::Option& option) {
    std::vector<std::string> words;
    try {
        std::istringstream name(option.get_validator(0)->get_name());
        for (std::string word; name >> word;) words.push_back(word);
    } catch (const CLI::OptionNotFound&) {  // it has no check
    }
    return words;
}

}  // namespace hushtrace::cli
