#pragma once
#include <list>

#include "../takes/take_survey.hpp"
#include "hushtrace/diagnose/findings.hpp"

namespace hushtrace {

/// Where each noise source gets in, by which test that is told best, and what to do about it: fills in entry_paths, next_test,
/// warnings, and puts its actions before those that are there.
void find_entry_paths(NoiseAnalysis& analysis, const std::list<TakeSurvey>& surveys, const Job& job);

}  // namespace hushtrace
