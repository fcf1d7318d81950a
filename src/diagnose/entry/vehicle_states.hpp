#pragma once
#include <list>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "entry_evidence.hpp"

/// A job's takes by the state of the vehicle: as it came, and after each change that was noted.
namespace hushtrace {

struct VehicleState {
    std::optional<std::string> change;  ///< as `after_change` says; nothing before any change
    std::set<std::string> takes;
    Job job;  ///< as it was then: its observations are this state's, the others are struck out
};
/// In the order in which they were captured. One where no change was noted.
std::vector<VehicleState> vehicle_states(const std::list<TakeSurvey>& surveys, const Job& job);

/// Whether the source may still be there in a state: it is, or no take tells.
bool may_be_there(const NoiseSource& source, const VehicleState& state, const std::list<TakeSurvey>& surveys);

/// A source's level before and after a change, in like takes [dB].
struct LevelsAround {
    std::string before, after;  ///< takes
    double change_db = 0, sd_db = 0;
    bool at_most = false;  ///< it isn't found any more
};
/// The takes of the latest state before `after` that has like ones; where the source was loudest then. Nothing where there are none.
std::optional<LevelsAround> levels_around(const NoiseSource& source, const std::vector<VehicleState>& states, std::size_t after,
                                          const std::list<TakeSurvey>& surveys);

/// What is known of a source's way in as a state has it: the tests of the last state that has any, and what the changes after that told.
struct Standing {
    EntryEvidence evidence;
    EntryPosterior posterior;
    std::size_t rests_on = 0;  ///< the state whose tests these are
};
Standing standing_in(std::size_t state, const NoiseSource& source, const std::vector<VehicleState>& states, const NoiseAnalysis& analysis,
                      const std::list<TakeSurvey>& surveys);

}  // namespace hushtrace
