#pragma once
#include <string>
#include <vector>

#include "hushtrace/diagnose/power_analysis.hpp"

/// The supply's figures in words, for the terminal and the page alike.
namespace hushtrace {

/// "21.2 mm2 (about 4 AWG)".
std::string supply_size_text(double area_mm2);
std::string supply_verdict_text(const PowerCable& cable, double allowed_drop_v);
/// What is expected of the ripple, and what was measured; empty where neither is known.
std::vector<std::string> supply_ripple_sentences(const PowerAnalysis& analysis);

}  // namespace hushtrace
