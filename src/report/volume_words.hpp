#pragma once
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"

/// The volume law and left against right, in words and as JSON.
namespace hushtrace {

/// One or two sentences each; empty where nothing is known.
std::vector<std::string> volume_sentences(const GainAnalysis& analysis);
/// "lags 0.8 dB"; empty where that can't be told from nothing.
std::string lag_text(const VolumeStep& step);

nlohmann::ordered_json volume_law_json(const GainAnalysis& analysis);
nlohmann::ordered_json balances_json(const GainAnalysis& analysis);

}  // namespace hushtrace
