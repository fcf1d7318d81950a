#pragma once
#include <cstddef>
#include <optional>
#include <string_view>
#include <utility>
#include <vector>

#include "hushtrace/job/job_folder.hpp"

namespace hushtrace {

/// An engine's speed over a take, as a reader of engine data logged it.
struct RpmLog {
    std::vector<double> time_s;                    ///< ascending, seconds from the take's start
    std::vector<double> rpm;                       ///< of the crankshaft [1/min]; 0 where the engine stood
    std::vector<std::pair<double, double>> known;  ///< [s] spans without gaps, ascending; outside nothing is known
    double interval_s = 0;                         ///< median time between rows
    double step_rpm = 0;                           ///< smallest change that occurs: how coarsely it counts
    bool own_clock = false;  ///< its time was counted from its first row, not from the take's start

    /// Speed at a time, straight between rows; nothing outside the known spans.
    std::optional<double> at(double time_s) const;
    /// Mean speed over what is known of a span; nothing where less than half of it is known.
    std::optional<double> mean_rpm(double from_s, double to_s) const;
    /// Seconds of a span that are known.
    double known_s(double from_s, double to_s) const;
};

/// What is known beside the log, to settle what its numbers leave open.
struct RpmLogHints {
    std::optional<double> duration_s;      ///< of the take
    std::optional<double> rpm;             ///< as stated by hand
    std::optional<double> start_of_day_s;  ///< local time at which the take began, in seconds from midnight
};

/// Reads a log from its text. Understood: delimiters , ; tab |, decimal commas where they can be told, quoted fields,
/// byte order marks (UTF-8, UTF-16), lines before the header, comments (# % //), a row of units, further columns,
/// rows of (time, name, value), time in s, ms, us, ns, min, hh:mm:ss, date and time or seconds of an epoch; speed in
/// 1/min, thousands of them, 1/s, Hz, rad/s. Units follow from the header, or from a range that leaves but one; what
/// is not clear is refused.
///
/// Warnings, all with `take`: rpm_log_unusable (then nothing is returned; the text says why), rpm_log_units (taken
/// from the range), rpm_log_time (sorted, spread, or counted from the first row), rpm_log_values (left out),
/// rpm_log_gaps, rpm_log_short (covers a part of the take), rpm_log_stalled.
std::optional<RpmLog> parse_rpm_log(std::string_view text, const std::string& take, const RpmLogHints& hints,
                                    std::vector<Warning>& warnings);

/// The log of a take, if it names one that can be used. Never throws for what the file holds; a file that is missing,
/// or larger than 64 MiB, is a warning rpm_log_unusable.
std::optional<RpmLog> rpm_log_of(const OpenedJob& job, const Take& take, std::vector<Warning>& warnings,
                                 std::optional<double> duration_s = std::nullopt);

}  // namespace hushtrace
