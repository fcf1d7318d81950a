#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/shown_text.hpp"

/// Figures and findings in plain words: one spelling for the terminal and the page. All text is UTF-8.
namespace hushtrace {

/// "50.02 Hz", "1.234 kHz": four figures.
std::string frequency_text(double frequency_hz);
/// "4.37 mV", "31.2 µV", "3.91 V" rms: three figures; 0 is "0 V".
std::string volts_text(double volts);
/// "3.4 %", two figures; what no take can tell from nothing is "below 0.001 %".
std::string distortion_text(double thd_percent);
/// The same with its uncertainty (two standard ones) where that touches the second figure: "0.014 % ±0.003 %"; where noise
/// hides it what it is below at most: "below 0.02 % (noise)".
std::string distortion_text(double thd_percent, double sd_percent, LimitedBy limit);
/// "clips at 2.64 V ±1.5 % (-3.21 dBFS): hard, both sides"; empty where nothing clips.
std::string knee_text(const StepCurve& curve);
/// How many harmonics stand in a curve's THD, and how many are missing below 20 kHz; empty for a curve without steps.
std::string harmonics_text(const StepCurve& curve);
/// A number with so many significant figures, without an exponent: 0.0123, 12.3, 1230.
std::string figures_text(double value, int figures);
/// "-47.2 dBV (4.37 mV)" where calibrated, else "-50.1 dBFS (not calibrated)"; "digital silence" when neither
/// is known.
std::string level_text(std::optional<double> level_dbfs, std::optional<double> level_dbv);
/// The same without the volts and the remark, for tables: "-47.2 dBV".
std::string short_level_text(std::optional<double> level_dbfs, std::optional<double> level_dbv);
/// " ±1.2 dB", two standard uncertainties; empty where they vanish beside the last digit of a level (0.1 dB).
std::string spread_text(double sd_db);
/// ", limited by the interface"; empty for a reading that nothing limits.
std::string limit_text(LimitedBy limit);
/// "6 dB quieter", "3 dB louder", "no change", with "(±2)" where the sd is known.
std::string change_text(double change_db, std::optional<double> sd_db);
/// "very likely (93 %)", "likely", "possible", "a guess" from 0.9, 0.7 and 0.4 on (our own words, no source).
std::string confidence_text(double confidence);
/// "left and right".
std::string channels_text(const std::vector<Channel>& channels);

/// "Alternator whine at 380.1 Hz", "Hiss, 1 kHz to 20 kHz", "Clipping".
std::string headline(const NoiseSource& source);
/// What may be chance or a part of something else, in a sentence; empty where there is nothing.
std::string unsure_text(const NoiseAnalysis& analysis);
/// An entry path's name for people, with its mechanism: "pick-up along the signal lead (magnetic, into the
/// lead itself)".
std::string path_text(const EntryPath& path);
/// A health fault for people: "diode_open" is "an open diode in the alternator"; an unknown word with its
/// underscores as spaces.
std::string fault_text(std::string_view fault);
/// An evidence's text with its figure where the text doesn't hold it already.
std::string evidence_text(const Evidence& evidence);
/// Conditions in one line: "engine idle at 760 rpm, volume 12, lead normal, headlights on".
std::string conditions_text(const Conditions& conditions);

/// Whether any level of the findings is known in dBFS alone.
bool lacks_calibration(const NoiseAnalysis& analysis);

}  // namespace hushtrace
