#pragma once
#include <string_view>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"

/// How often findings were right, by what they rest on. A stated confidence is that share, so that of what is claimed at
/// 90 % about 90 % is right.
namespace hushtrace {

/// One kind of evidence with what it was worth in random vehicles (tests/bench/kinds_population.py --counts): of `of`
/// findings that rested on it, `right` named a source that was there, by kind and frequency.
struct EvidenceRow {
    std::string_view name;
    int right = 0, of = 0;
};
const std::vector<EvidenceRow>& evidence_rows();

/// (right + 1) / (of + 2), the rule of succession: few cases make no certainty, whichever way they went.
///   throws  std::logic_error for a name that has no row
double confidence_of(std::string_view name);

/// What speaks best for a source gives its confidence.
void rest_on(NoiseSource& source, std::string_view name);

}  // namespace hushtrace
