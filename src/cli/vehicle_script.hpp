#pragma once
#include <string>
#include <vector>

#include "capture_setup.hpp"
#include "hushtrace/live/live_session.hpp"

namespace hushtrace::cli {

/// Reads what is changed on the simulated vehicle while it is listened to: lines of a time [s], one of hookup, engine, rpm
/// or loads, and its value (several with commas; 'none' for no loads). '#' begins a remark. All that no line changes stays
/// as the options said, and the volume where the knob was turned to.
///   setup   with its vehicle; it must outlive the moves. What is settled in it later (precautions) goes into the moves, too
///   throws  Error file_unreadable; invalid_request naming the line, also for conditions that the vehicle can't be put in
std::vector<TimedMove> vehicle_moves(const std::string& file, CaptureSetup& setup);

}  // namespace hushtrace::cli
