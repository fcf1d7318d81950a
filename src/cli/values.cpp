#include "values.hpp"

#include <charconv>
#include <cmath>

namespace hushtrace::cli {

void refuse(const std::string& why) {
    throw Error(ErrorKind::invalid_request, why);
}

namespace {

[[noreturn]] void refuse(std::string_view option, std::string_view text, std::string_view why) {
    throw Error(ErrorKind::invalid_request, fmt::format("{}: {} {}", option, in_quotes(text), why));
}

/// The number at the front; `rest` is what follows it.
double leading_number(std::string_view option, std::string_view text, std::string_view& rest) {
    std::string_view digits = text;
    if (!digits.empty() && digits.front() == '+') digits.remove_prefix(1);
    double value = 0;
    const auto [end, fault] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
    if (fault == std::errc::result_out_of_range) refuse(option, text, "is too large or too small a number");
    if (fault != std::errc() || !std::isfinite(value)) refuse(option, text, "is no number");
    rest = digits.substr(static_cast<std::size_t>(end - digits.data()));
    if (rest.size() > 1 && rest.front() == ',' && rest[1] >= '0' && rest[1] <= '9')
        refuse(option, text, "has a comma; write the number with a point");
    return value;
}

}  // namespace

double number_from(std::string_view option, std::string_view text) {
    std::string_view rest;
    const double value = leading_number(option, text, rest);
    if (!rest.empty()) refuse(option, text, "is no number");
    return value;
}

std::optional<double> number_from(std::string_view option, const std::optional<std::string>& text) {
    if (!text) return std::nullopt;
    return number_from(option, std::string_view(*text));
}

std::vector<double> numbers_from(std::string_view option, const std::vector<std::string>& texts) {
    std::vector<double> values;
    values.reserve(texts.size());
    for (const std::string& text : texts) values.push_back(number_from(option, std::string_view(text)));
    return values;
}

Quantity quantity_from(std::string_view option, std::string_view text) {
    std::string_view rest;
    Quantity quantity;
    quantity.value = leading_number(option, text, rest);
    while (!rest.empty() && rest.front() == ' ') rest.remove_prefix(1);
    quantity.unit = std::string(rest);
    return quantity;
}

}  // namespace hushtrace::cli
