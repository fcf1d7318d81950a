#pragma once
#include <string>
#include <vector>

#include "hushtrace/job/job_check.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/report/kept.hpp"

namespace hushtrace::cli {

/// A job as text that fits 80 columns: what is known, the takes, the observations.
std::string job_summary(const OpenedJob& opened);
/// One line each, indented: what is missing or odd.
std::string list_of(const std::vector<Warning>& warnings);
/// The results that stay, the newest first, a line each; of many the first ten. Empty where there are none.
std::string kept_in_words(const OpenedJob& opened, const KeptList& kept);
/// What is open, each with the commands that settle it.
std::string open_in_words(const std::vector<OpenPoint>& points);
/// "idle 760 rpm, volume 12, headlights": a take's conditions in short.
std::string conditions_in_short(const Conditions& conditions);
/// "ground_drop: 0.08 V; engine raised, headlights"
std::string observation_in_short(const Observation& seen);

}  // namespace hushtrace::cli
