#pragma once
#include "hushtrace/diagnose/findings.hpp"

namespace hushtrace {

/// What one step of the volume says about the source, by itself.
enum class StepVerdict {
    clean,      ///< THD with twice its uncertainty keeps the limit
    exceeds,    ///< it doesn't, and the uncertainty is small beside the limit, or twice of it taken off leaves too much
    unsure,     ///< noise leaves it open
    overloaded  ///< the interface's converter stood at its end: nothing is said about the source
};

/// The verdict on a step, from its THD, its uncertainty and the overload flag alone (as in docs/gain.md, Ceiling).
/// A THD that is no number is unsure.
///
///   limit_percent  above 0
StepVerdict judge_step(const VolumeStep& step, double limit_percent);

}  // namespace hushtrace
