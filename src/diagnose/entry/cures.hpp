#pragma once
#include <utility>
#include <vector>

#include "entry_actions.hpp"

/// What people ask before they buy. docs/cures.md has the parts that are assumed and the formulas.
namespace hushtrace {

/// A noise's lines: frequency [Hz] and share of its power; the shares sum to 1. Of what has no lines, a few over the band where it is usual.
std::vector<std::pair<double, double>> lines_of(const NoiseSource& source);

/// Each cure for one noise source, most helpful first.
std::vector<Cure> cures_for(const ActsOn& on);

}  // namespace hushtrace
