#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "hushtrace/vehicle/entry_tables.hpp"

/// The words by which a take's `after_change` says which remedy was carried out, so that a promise can be held against it.
namespace hushtrace {

struct RemedyWords {
    std::string_view words;                  ///< what `after_change` begins with: "ground remade"
    std::optional<EntryTest> like;           ///< the test that it acts like, where one does
};
std::span<const RemedyWords> remedy_words();

/// A remedy as it was noted.
struct RemedyDone {
    RemedyWords remedy;
    std::optional<double> separation_m;      ///< "lead rerouted 0.3 m", "lead rerouted: 30 cm"
};
/// The remedy that a note names exactly, at its beginning, in small or capital letters; nothing is guessed from other words.
std::optional<RemedyDone> remedy_named(std::string_view note);

}  // namespace hushtrace
