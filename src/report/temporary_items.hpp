#pragma once
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"

/// What was put in, taken off or unplugged for a measurement, and must be undone before the vehicle is handed over.
namespace hushtrace {

struct TemporaryItem {
    std::string name;                  ///< what to undo: "dummy plug at the amplifier: take it out"
    std::vector<std::string> takes;    ///< in which it was in place
};
/// Those of the takes' and readings' hookups, in the order in which they first appear; what sits in the measuring set-up alone is left out.
std::vector<TemporaryItem> temporary_items_used(const Job& job);

}  // namespace hushtrace
