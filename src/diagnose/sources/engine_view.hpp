#pragma once
#include <functional>
#include <list>

#include "engine_speed.hpp"

/// What the takes say of the engine together: its speed in each, its whine constant, and which line is the whine.
namespace hushtrace {

struct EngineView {
    std::list<WhineInTake> whines;  ///< at most one a take
    EngineFindings findings;
};
/// `twin` gives the take at rest to hold a running one against, or null. `warnings` get what is odd about speeds.
EngineView view_engine(const VehicleData& vehicle, const std::list<TakeSurvey>& surveys,
                       const std::function<const TakeSurvey*(const TakeSurvey&)>& twin,
                       std::vector<Warning>& warnings);

/// Faults of the alternator that its followed lines show, each with the probability that it is there (0.5 and more).
std::vector<HealthFinding> alternator_health(const std::list<WhineInTake>& whines, std::optional<int> sets);

/// Order and its uncertainty of a source that follows the engine, from the take in which it is loudest.
void set_engine_order(NoiseSource& source, const EngineFindings& engine);

/// Pole pairs and pulleys for the constant, and what to say of them.
void fit_pulleys(EngineFindings& findings, const AlternatorData& told);

}  // namespace hushtrace
