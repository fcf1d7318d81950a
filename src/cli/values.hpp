#pragma once
#include <fmt/format.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/conditions.hpp"
#include "hushtrace/signal/error.hpp"

/// Options arrive as text and are read here, so that every command refuses a bad value with the same
/// sentence, which names the option: "--rpm: 'abc' is no number".
namespace hushtrace::cli {

/// throws Error invalid_request
[[noreturn]] void refuse(const std::string& why);

/// A finite number with a decimal point; no units, no spaces.
///   throws Error invalid_request, also for NaN, infinities and what a double can't hold
double number_from(std::string_view option, std::string_view text);
std::optional<double> number_from(std::string_view option, const std::optional<std::string>& text);
std::vector<double> numbers_from(std::string_view option, const std::vector<std::string>& texts);

/// A number followed by a unit, which may be missing: "0.08V", "80 mV", "12". The unit's case is kept.
struct Quantity {
    double value = 0;
    std::string unit;
};
Quantity quantity_from(std::string_view option, std::string_view text);

template <class Word>
Word word_from(std::string_view option, std::string_view text) {
    if (const auto word = from_word<Word>(text)) return *word;
    throw Error(ErrorKind::invalid_request, fmt::format("{}: {}", option, none_of(text, words_of<Word>())));
}
template <class Word>
std::optional<Word> word_from(std::string_view option, const std::optional<std::string>& text) {
    if (!text) return std::nullopt;
    return word_from<Word>(option, std::string_view(*text));
}

/// "off, accessory, key_on, ...": for an option's help.
template <class Word>
std::string choices() {
    return fmt::format("{}", fmt::join(words_of<Word>(), ", "));
}

}  // namespace hushtrace::cli
