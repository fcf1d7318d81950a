#pragma once
#include <functional>

#include "entry_model.hpp"
#include "hushtrace/measure/reading.hpp"

/// What a cure brings over all ways that are still open: of a set of two, each way's share of the power changes by itself.
namespace hushtrace {

/// Change of noise that comes by one way [dB], with how sure that is.
using WayChange = std::function<Reading(EntryWay)>;

/// Median of the change over ways and shares: what to expect of an action, which is done because one way leads. The sd is half the distance from
/// 16 to 84 %, each way's own spread among it.
Reading middle_change(const EntryPosterior& posterior, const WayChange& change);
/// Change of the mean power: what to expect of something that is bought before anybody knows the way.
Reading power_change(const EntryPosterior& posterior, const WayChange& change);

/// Probability of the sets that hold a way.
double chance_of(const EntryPosterior& posterior, EntryWay way);

}  // namespace hushtrace
