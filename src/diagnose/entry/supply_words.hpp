#pragma once
#include <optional>
#include <string>

#include "hushtrace/diagnose/entry_findings.hpp"

namespace hushtrace {

/// How each way's transfer goes at the points of a transfer [dB a decade], by the feed's impedance Z where it is known (through
/// the points' frequencies, least squares): over the voltage as 1/Z, f/Z and f, over the current as 1, f and f Z. Else behind a
/// feed that is all inductance.
struct SlopeLaws {
    double resistance = 0, magnetic = 0, capacitive = 0;
    bool known = false;
};
SlopeLaws laws_of(const SupplyTransfer& transfer, const FeedImpedance* feed);

/// What a transfer says, in a few sentences. `feed` or null where it wasn't measured.
std::string words_of(const SupplyTransfer& transfer, const FeedImpedance* feed);
std::string words_of(const FeedImpedance& feed);

/// Whether a slope against the current is that of a resistance, as far as a shield's own inductance leaves it one.
bool is_flat(const Reading& slope_db_per_decade);

/// Below half a decade a slope says little.
inline constexpr double kFewDecades = 0.5;

}  // namespace hushtrace
