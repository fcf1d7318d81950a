#pragma once
#include <optional>
#include <string>
#include <string_view>

#include "entry_model.hpp"
#include "hushtrace/diagnose/findings.hpp"

/// What the entry paths and their tests are called, for people.
namespace hushtrace {

/// Whether a kind of noise gets in by a way that can be looked for.
bool has_an_entry(NoiseKind kind);
std::string plain_name(const EntrySet& set);        ///< "a ground loop", "the antenna lead together with a ground loop"
/// The tests of an outcome: "an isolating transformer in the lead".
std::string name_of(const EntryOutcome& outcome);
/// One outcome as a sentence, with its number, its takes and observations.
Evidence said(const EntryOutcome& outcome, const Job& job);

/// What cures a way in, and the test whose change shows what that brings.
struct Remedy {
    std::string_view what, why;
    std::optional<EntryTest> shown_by;
    std::string_view done_as;      ///< the words that note it (vehicle/remedies.hpp); empty where there are none
};
Remedy remedy_of(EntryWay way);

/// The condition that makes a test, as job.json spells it.
struct TestCondition {
    std::string field, value;
};
TestCondition condition_of(EntryTest test);

}  // namespace hushtrace
