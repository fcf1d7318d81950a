#pragma once
#include <vector>

#include "entry_evidence.hpp"

/// Takes held against each other: what each test that lies between them did to a source's level.
namespace hushtrace {

/// How far takes of the same conditions stray, each [dB].
double repeats_db(const Conditions& conditions, bool follows_engine);

/// Adds an outcome for each test, or set of tests made in one take, that lies between a take and those that are its like without; and a warning for tests
/// that contradict each other or have nothing to be held against.
///   levels  the source's in one channel of every take
void add_pairs(const std::vector<LevelHere>& levels, EntryEvidence& evidence);

}  // namespace hushtrace
