#pragma once
#include <string>

#include "hushtrace/diagnose/findings.hpp"
#include "lines.hpp"

/// What is said of the engine's speed on the terminal.
namespace hushtrace {

/// "97.2 ±0.3 lines per crankshaft turn", two standard deviations.
std::string order_text(const NoiseSource& source);
/// A line for each running take whose speed is known, then the whine constant and what gives it. Nothing where no
/// speed is known.
void tell_engine(Lines& lines, const EngineFindings& engine);

}  // namespace hushtrace
