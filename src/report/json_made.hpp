#pragma once
#include <nlohmann/json.hpp>

#include "hushtrace/report/document.hpp"

namespace hushtrace {

/// What made the record: time, version, settings (limits with their origin, options), the takes' files. Null where it isn't told.
///   results   the record's other results: each limit that something in them was held against is told
nlohmann::ordered_json made_json(const Job& job, const Analyses& analyses, const nlohmann::ordered_json& results);

}  // namespace hushtrace
