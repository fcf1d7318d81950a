#pragma once
#include <string>
#include <vector>

#include "hushtrace/live/capture_session.hpp"

namespace hushtrace::cli {

inline constexpr double highest_volume = 1000.0;  ///< no source counts its volume so far

/// Reads a knob's script: lines of a time [s] and a volume, '#' begins a remark.
///   throws Error file_unreadable, invalid_request naming the line
std::vector<KnobTurn> read_knob_script(const std::string& file);

}  // namespace hushtrace::cli
