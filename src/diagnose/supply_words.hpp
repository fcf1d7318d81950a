#pragma once
#include <optional>
#include <string>

#include "hushtrace/diagnose/entry_findings.hpp"

namespace hushtrace {

/// What a transfer says, in two or three sentences. `corner_hz` of the feed, where it was measured.
std::string words_of(const SupplyTransfer& transfer, std::optional<double> corner_hz);
std::string words_of(const FeedImpedance& feed);

/// Whether a slope against the current is that of a resistance, as far as a shield's own inductance leaves it one.
bool is_flat(const Reading& slope_db_per_decade);

/// From this slope on what rises with the voltage may be capacitive; below it, it isn't. Halfway between that and pick-up.
inline constexpr double kCapacitiveFrom_db = 10.0;
/// Below half a decade a slope says little.
inline constexpr double kFewDecades = 0.5;

}  // namespace hushtrace
