#pragma once
#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"

namespace hushtrace {

/// Finds the noise sources in a job's takes: what follows the engine, what stays put, what is hiss.
///
/// Takes that can't be read, or bear a fault that spoils them, are left out with a warning of their own.
///   throws Error invalid_input when no take is left
NoiseAnalysis analyse_noise(const OpenedJob& job);

}  // namespace hushtrace
