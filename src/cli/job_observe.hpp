#pragma once
#include <optional>
#include <string>
#include <vector>

#include "conditions_options.hpp"
#include "hushtrace/job/job_folder.hpp"

namespace hushtrace::cli {

/// What was said along with --observe.
struct ObserveOptions {
    std::vector<std::string> observe;
    std::optional<std::string> reason, meter_good_to, after_change;
};

/// "ground_drop=0.08V", "noise_heard=gone", "shell_to_case=declined", "removed=isolator" as observations; `removed=all` is one for each
/// item that `job` still has in place.
///   throws Error invalid_request, naming the option and what was wrong
std::vector<Observation> observations_from(const std::string& text, const ObserveOptions& options, const ConditionsOptions& conditions,
                                           const ToneOptions& tone, const Job& job);

/// What makes a reading so bad that nothing may be connected, in words.
std::optional<Warning> stop_warning(const Observation& seen);

}  // namespace hushtrace::cli
