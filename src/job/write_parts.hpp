#pragma once
#include "hushtrace/job/job.hpp"
#include "safe_json.hpp"

namespace hushtrace {

/// Types to JSON, unknown values left out.
///   throws Error invalid_request for what JSON can't hold, naming the field
Json json_of(const Job& job);
Json json_of(const Take& take);
Json json_of(const Observation& observation);
Json json_of(const PlayedTone& tone);

}  // namespace hushtrace
