#include "hushtrace/vehicle/remedies.hpp"

#include <array>
#include <cctype>
#include <cmath>
#include <cstdlib>

namespace hushtrace {
namespace {

constexpr std::array<RemedyWords, 10> kWords = {{{"ground remade", EntryTest::temporary_ground},
                                                 {"lead rerouted", EntryTest::temporary_lead},
                                                 {"lead renewed", std::nullopt},
                                                 {"supply filter fitted", std::nullopt},
                                                 {"source changed", EntryTest::substitute_source},
                                                 {"shell link mended", EntryTest::source_shell_link},
                                                 {"antenna mended", EntryTest::antenna_unplugged},
                                                 {"set-up changed", EntryTest::laptop_on_battery},
                                                 {"isolator fitted", EntryTest::isolator},
                                                 {"alternator repaired", std::nullopt}}};

bool is(std::string_view set, char one) {
    return set.find(one) != std::string_view::npos;
}

/// The first length in a text; nothing where its unit isn't m or cm, or it is none that a vehicle has room for.
std::optional<double> length_m(std::string_view text) {
    constexpr double longest_m = 10.0;
    const auto first = text.find_first_of("0123456789");
    if (first == std::string_view::npos) return std::nullopt;
    std::string number;
    std::size_t at = first;
    for (; at < text.size() && is("0123456789.,", text[at]); ++at) number += text[at] == ',' ? '.' : text[at];
    while (at < text.size() && text[at] == ' ') ++at;
    const std::string_view unit = text.substr(at);
    const double scale = unit.starts_with("cm") ? 0.01 : unit.starts_with("m") && !unit.starts_with("mm") ? 1.0 : 0.0;
    const double value = scale * std::strtod(number.c_str(), nullptr);
    return std::isfinite(value) && value > 0.0 && value <= longest_m ? std::optional(value) : std::nullopt;
}

}  // namespace

std::span<const RemedyWords> remedy_words() {
    return kWords;
}

std::optional<RemedyDone> remedy_named(std::string_view note) {
    std::string text;
    for (const char one : note) text += static_cast<char>(std::tolower(static_cast<unsigned char>(one)));
    const auto begin = text.find_first_not_of(" \t");
    if (begin == std::string::npos) return std::nullopt;
    text = text.substr(begin);
    for (const RemedyWords& one : kWords) {
        if (!text.starts_with(one.words)) continue;
        const std::string rest = text.substr(one.words.size());
        if (!rest.empty() && (std::isalnum(static_cast<unsigned char>(rest.front())) || rest.front() == '-')) continue;
        return RemedyDone{one, one.words == "lead rerouted" ? length_m(rest) : std::nullopt};
    }
    return std::nullopt;
}

}  // namespace hushtrace
