#pragma once
#include "entry_evidence.hpp"
#include "hushtrace/diagnose/findings.hpp"

namespace hushtrace {

/// What each test of one source showed, and how it moved the chances of the ways in: put behind those that are there. The tests stand
/// in the order in which they were made: a test of takes where the first pair of them was complete, in the order of the job's takes; then
/// the observations. Chances are those of the sets that hold a way, so two ways at once count for both.
void add_tests_made(NoiseAnalysis& analysis, const NoiseSource& source, const EntryEvidence& evidence, const Job& job);

}  // namespace hushtrace
