#pragma once
#include <string>

#include "json_results.hpp"

/// The parts of the chain's results; used by json_chain*.cpp alone.
namespace hushtrace {

/// A reading with its _sd and _limited_by; null where there is none.
void put_limited(nlohmann::ordered_json& to, const std::string& name, const std::optional<Reading>& reading);
/// What the source does to one channel: shape, band, all-passes, distortion, noise.
void put_channel_system(nlohmann::ordered_json& out, const ChainChannel& one);
/// What several channels and takes tell together, and the limits.
void put_system(nlohmann::ordered_json& out, const ChainAnalysis& analysis);

}  // namespace hushtrace
