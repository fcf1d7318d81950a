#pragma once
#include "entry_actions.hpp"

namespace hushtrace {

/// Promise against outcome: each noise source over each change that was noted, against what the takes before it would have promised. Fills in
/// analysis.changes.
void judge_changes(NoiseAnalysis& analysis, const std::vector<VehicleState>& states, const std::list<TakeSurvey>& surveys);

/// "kept" "failed" "better" "not_promised"
std::string_view verdict_of(const Reading& measured_db, bool at_most, const std::optional<Reading>& promised_db);

}  // namespace hushtrace
