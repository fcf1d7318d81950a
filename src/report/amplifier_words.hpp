#pragma once
#include <string>

#include "hushtrace/diagnose/amplifier_findings.hpp"

/// What is said of an amplifier's setting, for the terminal and the page alike.
namespace hushtrace {

/// Where on its dial the sensitivity lies, and that it is a first guess.
std::string dial_text(const AmplifierSetting& one);
/// What an allowance for quiet recordings costs.
std::string allowance_text(const AmplifierSetting& one);
/// "noise at its input, the source at volume 20: ..."
std::string parts_text(const NoiseParts& parts);
/// A way to split, short enough for a table.
std::string split_name(const GainSplit& split);
/// "-80.1 dBV", "-84.0 to -80.2 dBV", "below -80.0 dBV"; without a unit where the word is empty.
std::string range_text(const Range_db& range, const std::string& unit_word);

}  // namespace hushtrace
