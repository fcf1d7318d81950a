#pragma once
#include <optional>

#include "hushtrace/diagnose/loudness.hpp"
#include "hushtrace/job/job.hpp"

namespace hushtrace {

/// The sine voltage of an amplifier's rated power [V], V = sqrt(P R); nothing where either isn't known.
std::optional<double> full_output_v(const AmplifierData& amplifier);

}  // namespace hushtrace
