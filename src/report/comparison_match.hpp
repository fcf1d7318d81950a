#pragma once
#include <optional>
#include <vector>

#include "hushtrace/report/recorded_system.hpp"

namespace hushtrace::comparison {

/// One noise source in both records, or in one alone.
struct SourceMatch {
    const RecordedSource* before = nullptr;
    const RecordedSource* after = nullptr;
};
/// Matches by kind, and by engine order (alternator, ignition) or frequency; nearest first, none twice. A tone without a name
/// matches a named one at the same frequency. Faint traces count only where they match a source that is sure.
std::vector<SourceMatch> match_sources(const std::vector<RecordedSource>& before, const std::vector<RecordedSource>& after);

bool follows_engine(const RecordedSource& source);

}  // namespace hushtrace::comparison
