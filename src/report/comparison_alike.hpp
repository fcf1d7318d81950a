#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/report/comparison.hpp"

/// Which takes of two records were made alike.
namespace hushtrace::comparison {

inline constexpr double kSameSpeed = 0.15;  ///< of the rpm, as everywhere in the analysis: beyond it a take is another one

/// Takes of one record made in the same conditions, in one state of the work.
struct TakeGroup {
    const RecordedSystem* record = nullptr;
    std::vector<const Take*> takes;
    std::size_t state = 0;  ///< how many changes came before it
    std::optional<double> rpm;
    const Take& first() const { return *takes.front(); }
};
struct GroupPair {
    TakeGroup before, after;
    std::vector<std::string> remarks;
    std::string conditions;             ///< in words
    std::string briefly;                ///< the same without what all pairs have in common
    bool hunts = false;                 ///< idle, sweep, cranking
    std::optional<double> speed_ratio;  ///< after over before
};
struct Difference {
    std::string field, before, after;  ///< in words
};

struct Alike {
    std::vector<GroupPair> pairs;
    std::vector<TakeLeftOut> left_out;
    std::vector<TakeGroup> before, after;  ///< all groups, for the scatter of repeats
};
/// Both records hold their job.
Alike find_alike(const RecordedSystem& before, const RecordedSystem& after, RecordState before_state);

/// Engine speed in the second take over that in the first, from what was read or stated, or from the whine; nothing where not known.
std::optional<double> speed_ratio(const RecordedSystem& of_first, const Take& first, const RecordedSystem& of_second, const Take& second);
/// What differs between the conditions of two takes or observations; empty when they are alike. `remarks` gains what had to be assumed.
///   speed_ratio  engine speed after over before; unset where not known
std::vector<Difference> differences(const Conditions& before, const Conditions& after, std::optional<double> speed_ratio,
                                    std::vector<std::string>* remarks);
/// How many changes came before one that says `after_change`.
std::size_t state_of(const Job& job, const std::optional<std::string>& after_change);
std::size_t last_state(const Job& job);

}  // namespace hushtrace::comparison
