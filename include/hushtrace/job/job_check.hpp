#pragma once
#include <string>
#include <vector>

#include "hushtrace/job/job_folder.hpp"

namespace hushtrace {

/// What stands in the way of an answer, in the order in which one would mend it. Looks at the folder's names,
/// reads no sound.
///
///   take_missing       a take's sound file isn't there
///   take_not_listed    a sound file lies in takes/ without an entry in the job
///   left_over          a temporary file of a write that broke off
///   rpm_log_missing    a take's engine speed log isn't there
///   rpm_log_unusable   it is there, but can't be used; the text says why
///   amplifier_unknown  a speaker names an amplifier that the job doesn't have
///   conditions_contrary    a take says that something is off and on at once: an engine speed with the engine off
///   for_volts          what calibration lacks: readings stay in dBFS
///   for_noise          what the search for noise lacks: a take with the engine off, one with it running
///   for_gain           what gain setting lacks: a take with stepped volume, an amplifier's power and load
///   for_chain          what the path's check lacks: a take of a sweep or the like
///   for_power          what the supply's check lacks: cable, draws, a take with the supply on a channel
///   still_in           a temporary item that nobody said came out again (temporary_items.hpp)
///   before_leads       a meter reading that should come before the first lead goes on
std::vector<Warning> check_job(const OpenedJob& opened);

/// The same, each with the commands that settle it, as one types them; words in capitals are to be replaced. Empty where there is
/// no command for it.
struct OpenPoint {
    Warning what;
    std::vector<std::string> make;
};
std::vector<OpenPoint> open_points(const OpenedJob& opened);

}  // namespace hushtrace
