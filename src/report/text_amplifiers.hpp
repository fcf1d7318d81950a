#pragma once
#include "hushtrace/diagnose/findings.hpp"
#include "lines.hpp"

namespace hushtrace {

/// Where each amplifier's gain must stand; nothing for a job without amplifiers.
void tell_amplifiers(Lines& lines, const GainAnalysis& analysis);

}  // namespace hushtrace
