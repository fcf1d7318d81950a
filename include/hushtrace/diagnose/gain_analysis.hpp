#pragma once
#include <functional>
#include <memory>
#include <optional>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/signal/block.hpp"

namespace hushtrace {

/// What is asked of the gain analysis beyond what the job says.
struct GainRequest {
    std::optional<double> allowance_db;  ///< for all amplifiers, in place of the job's: 0 to kMostAllowance_db
    double driver_db = 6.0;              ///< by how much a line driver, or a better source, is thought to lift the level
};

/// From takes in which the source's volume was stepped while a steady tone played: plateaus, THD of each, the
/// source's ceiling, and where each amplifier's gain must stand. The method and its figures: docs/gain.md.
///
/// Takes that can't be read are left out with a warning of their own.
///   throws Error invalid_input when the job has no take with a steady tone, or none can be read
GainAnalysis analyse_gain(const OpenedJob& job, const GainRequest& request = {});

/// How a take's sound is reached. Called twice a take: once to find the plateaus, once to read them.
using OpenTake = std::function<std::unique_ptr<BlockReader>(const Take&)>;

/// The same, of takes that are opened by `open` (a capture in memory, say). `open` throws Error where a take
/// can't be.
GainAnalysis analyse_gain(const OpenedJob& job, const OpenTake& open, const GainRequest& request = {});

}  // namespace hushtrace
