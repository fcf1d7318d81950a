#pragma once
#include "hushtrace/diagnose/findings.hpp"
#include "lines.hpp"

/// What is known of where noise gets in, beyond each finding's own lines.
namespace hushtrace {

void tell_entry(Lines& lines, const NoiseAnalysis& analysis);

}  // namespace hushtrace
