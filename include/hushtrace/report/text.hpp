#pragma once
#include <string>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/job/job_folder.hpp"

/// What the terminal shows: findings first, then what to do, figures, warnings last. Lines of at most 80
/// columns, UTF-8, no colour; foreign text is cleaned of control characters. Ends in a newline.
namespace hushtrace {

std::string noise_text(const OpenedJob& opened, const NoiseAnalysis& analysis);
std::string chain_text(const OpenedJob& opened, const ChainAnalysis& analysis);
std::string gain_text(const OpenedJob& opened, const GainAnalysis& analysis);
/// The noise-floor record: a table for each condition, the limits, what is missing.
std::string floor_record_text(const OpenedJob& opened, const FloorRecord& record);
std::string power_text(const OpenedJob& opened, const PowerAnalysis& analysis);

}  // namespace hushtrace
