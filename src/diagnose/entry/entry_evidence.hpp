#pragma once
#include <list>
#include <set>
#include <string>
#include <vector>

#include "../takes/take_survey.hpp"
#include "entry_levels.hpp"
#include "entry_model.hpp"
#include "hushtrace/diagnose/findings.hpp"

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
///   only     the files of the takes to use; null for all
EntryEvidence entry_evidence(const NoiseSource& source, const NoiseAnalysis& analysis, const std::list<TakeSurvey>& surveys, const Job& job,
                             const std::set<std::string>* only = nullptr);

/// Conditions in which the same noise is to be expected: all alike, the engine's speed within 15 %.
bool alike(const Conditions& a, const Conditions& b);
/// How far two takes in such conditions stray, each [dB].
double usual_repeats_db(const NoiseSource& source, const Conditions& conditions);

/// The tests that can still be made in a job, for this source.
std::vector<EntryTest> tests_left(const EntryEvidence& evidence, const std::list<TakeSurvey>& surveys, const Job& job);
/// Whether somebody has been at the back of the source already.
bool source_reached(const EntryEvidence& evidence);

}  // namespace hushtrace
