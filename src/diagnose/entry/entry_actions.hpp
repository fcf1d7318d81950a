#pragma once
#include <string_view>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "reroute.hpp"
#include "vehicle_states.hpp"

/// What to change, and what that should bring, from where noise gets in.
namespace hushtrace {

/// One noise source in one state of the vehicle.
struct ActsOn {
    const NoiseSource& source;
    const Standing& standing;
    const Job& job;  ///< of that state
    const NoiseAnalysis& analysis;
};
/// An action with the words that note that it was done (vehicle/remedies.hpp); empty where there are none.
struct Promise {
    std::string_view done_as;
    Action action;
};

/// What the leading ways ask for; nothing while none of them leads clearly.
std::vector<Promise> promises_of(const ActsOn& on);

/// What a remedy should bring over the ways that are still open [dB]; nothing where that can't be told.
///   separation_m  of a rerouted lead; else 0.2 m, or the next further off
std::optional<Reading> forecast(std::string_view done_as, const ActsOn& on, std::optional<double> separation_m);

/// The outcome of a test, as a change; nothing where it wasn't made with a take.
std::optional<ChangeSeen> seen(const EntryEvidence& evidence, EntryTest test);

/// Of an alternator's broken part: to be repaired before anything else is judged. Nothing where it is sound.
std::optional<Action> alternator_first(const NoiseAnalysis& analysis);

}  // namespace hushtrace
