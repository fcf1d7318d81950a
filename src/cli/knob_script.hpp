#pragma once
#include <string>
#include <vector>

#include "hushtrace/live/capture_session.hpp"

namespace hushtrace::cli {

/// Reads a knob's script: lines of a time [s] and a volume, '#' begins a remark.
///   throws Error file_unreadable, invalid_request naming the line
std::vector<KnobTurn> read_knob_script(const std::string& file);

}  // namespace hushtrace::cli
