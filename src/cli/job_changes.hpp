#pragma once
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"

namespace hushtrace::cli {

/// One field of a job that was changed; a value is spelled as in job.json, "unknown" where there is none.
struct FieldChange {
    std::string field;  ///< "vehicle.cylinders", "amplifiers[sub].power_w", "takes[takes/idle.flac].rpm"
    std::string before, after;
};

/// What differs, field by field. A whole entry that came or went is one change.
std::vector<FieldChange> changes_between(const Job& before, const Job& after);

/// "vehicle.cylinders: was 4, now 6", a line each.
std::string in_lines(const std::vector<FieldChange>& changes);

}  // namespace hushtrace::cli
