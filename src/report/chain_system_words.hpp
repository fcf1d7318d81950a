#pragma once
#include <string>
#include <vector>

#include "hushtrace/diagnose/chain_analysis.hpp"

/// What a chain's takes tell of the source, in sentences: one spelling for terminal, page and JSON.
namespace hushtrace {

/// "flat within ±0.3 dB from 25 Hz to 18.9 kHz", "bass boost +6.0 dB at 60 Hz, Q 1.0; high-pass 80 Hz, 24 dB/octave".
std::string shape_text(const ResponseShape& shape);
/// "all-pass round 450 Hz, second order, Q 0.8"; empty where there is none.
std::string all_pass_text(const ChainChannel& one);
/// "plays the left output"; empty where no take of one output tells.
std::string hears_text(const ChainChannel& one);
/// Channels that cancel, share the band, change with volume or level: one sentence each.
std::vector<std::string> system_sentences(const ChainAnalysis& analysis);
std::string sentence_of(const ChainSum& sum);
std::string sentence_of(const ChainCrossing& crossing);
std::string sentence_of(const VolumeDependence& one);
std::string sentence_of(const LevelDependence& one);

/// "0.012 % at 997 Hz", "not measured".
std::string thd_of(const ChainDistortion& one);
/// "THD at the ceiling, volume 32".
std::string ceiling_text(const ChainAnalysis& analysis);
/// "-92.1 dBV (24.8 µV)", "-93.2 dBFS (not calibrated)", "not measured"; A-weighted.
std::string noise_of(const ChainNoise* noise);
/// Whether any channel has something for the table of distortion and noise.
bool has_distortion_table(const ChainAnalysis& analysis);

/// What a limit's line is about: "balance, right against left".
std::string limit_name(const LimitLine& line);
/// "0.12 dB ±0.01 dB", or what stands in its place.
std::string limit_found(const LimitLine& line);
/// "at most 1 dB (proposal, no source)".
std::string limit_asked(const LimitLine& line);

}  // namespace hushtrace
