#pragma once
#include <string>
#include <vector>

#include "hushtrace/diagnose/floor_record.hpp"

/// The noise-floor record in words, alike for the terminal and the page. Unescaped.
namespace hushtrace {

/// One row of a condition's table: a figure of every channel.
struct FloorRow {
    std::string name;                ///< with its unit: "A-weighted, dBV"
    std::vector<std::string> cells;  ///< [channels] "-93.1 ±0.2", "≥ 110.2 ±0.3", "-"
};
/// All figures of a condition; rows of which no channel has a figure are left out.
std::vector<FloorRow> floor_rows(const ConditionFloor& condition);

/// "takes/idle.flac, volume 20, 760 rpm, after: ground remade"
std::string condition_facts(const ConditionFloor& condition);
/// "1.209 kHz: -54.7 dBV ±2.0 dB, alternator whine (wanders)"
std::string line_text(const FloorLine& line);
/// The condition's, channels' and amplifiers' remarks, each once; those of one channel begin with its name.
std::vector<std::string> floor_notes(const ConditionFloor& condition);

/// A limit as it is asked, of one condition and amplifier, with the channel that keeps it worst.
struct FloorVerdictRow {
    std::string what, found, asked, verdict;
};
/// One row a limit, condition and amplifier.
std::vector<FloorVerdictRow> verdict_rows(const FloorRecord& record);
/// "2 fail, 3 to be judged by ear, 7 pass"; empty without a verdict.
std::string verdict_summary(const FloorRecord& record);

/// What stands for the interface in a picture or table of thirds of octaves: one sentence.
std::string bands_remark(const FloorRecord& record);

/// With its first letter, a to z, as a capital.
std::string capital(std::string text);

}  // namespace hushtrace
