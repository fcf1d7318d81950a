#pragma once
#include <string>

#include "hushtrace/diagnose/chain_analysis.hpp"

/// The chain's figures in words, for the terminal and the page alike.
namespace hushtrace {

/// The last digit shown is the first that the uncertainty leaves standing: "3.142 ms ±0.013".
std::string with_sd(double value, double sd, const char* unit);
/// A level in dB, "below -53.2 dB (noise)", "not measured".
std::string level_of(const std::optional<Reading>& reading);
/// THD with the frequency that it was read at.
std::string thd_of(const ChainChannel& one);
/// An intermodulation ratio in percent; "below 0.002 % (length)" where noise hides it.
std::string ratio_text(const Reading& ratio);
/// Level of a tone in dBV where calibrated.
std::string level_of_tone(const ChainIntermodulation& one, const ToneReading& tone);

}  // namespace hushtrace
