#pragma once
#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"

namespace hushtrace {

/// From takes in which the source's volume was stepped while a steady tone played: plateaus, THD of each, the source's
/// ceiling, and where each amplifier's gain must stand.
///
/// Takes that can't be read are left out with a warning of their own.
///   throws Error invalid_input when the job has no take with a steady tone, or none can be read
GainAnalysis analyse_gain(const OpenedJob& job);

}  // namespace hushtrace
