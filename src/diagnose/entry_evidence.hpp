#pragma once
#include <list>
#include <set>
#include <string>
#include <vector>

#include "entry_model.hpp"
#include "hushtrace/diagnose/findings.hpp"
#include "take_survey.hpp"

namespace hushtrace {

/// All that a job's takes and observations say of where one noise source gets in.
struct EntryEvidence {
    EntryQuestion question;
    std::vector<EntryOutcome> outcomes;       ///< one a test: several takes of it are one reading
    std::set<EntryTest> made;
    std::vector<Warning> warnings;            ///< tests that contradict each other, or went wrong
};

/// Every pair of takes that differ in one condition, and every observation, as outcomes of tests.
///   surveys  of all takes that could be read
EntryEvidence entry_evidence(const NoiseSource& source, const std::list<TakeSurvey>& surveys, const Job& job);

/// The tests that can still be made in a job, for this source.
std::vector<EntryTest> tests_left(const EntryEvidence& evidence, const std::list<TakeSurvey>& surveys, const Job& job);
/// Whether somebody has been at the back of the source already.
bool source_reached(const EntryEvidence& evidence);

}  // namespace hushtrace
