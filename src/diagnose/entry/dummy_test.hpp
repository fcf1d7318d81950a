#pragma once
#include "entry_evidence.hpp"
#include "hushtrace/diagnose/findings.hpp"

namespace hushtrace {

/// The four-step dummy test for one source (Whitlock, in Ballou (ed.), Handbook for Sound Engineers, ch. 32, from memory): what each step that was
/// made showed, and the next one.
DummyTest dummy_test_of(const NoiseSource& source, const EntryEvidence& evidence, const Job& job);

}  // namespace hushtrace
