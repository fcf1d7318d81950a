#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/job/rpm_log.hpp"

/// Which column of an engine log is what, and in which unit.
namespace hushtrace {

/// A unit as far as the header says it; 0: not said.
struct LogColumns {
    std::size_t time = 0, speed = 0;
    double time_unit_s = 0;           ///< seconds in one of its numbers
    double speed_unit_rpm = 0;        ///< rpm in one of its numbers
    std::string speed_header;         ///< for messages
    bool more_speeds = false;         ///< another column looks like an engine speed, too
    std::optional<std::size_t> name;  ///< of rows of (time, name, value): where the name stands
};

/// The columns that a header names; nothing when it is none (a row of numbers, say).
std::optional<LogColumns> columns_named(const std::vector<std::string>& header);
/// Whether a row's cells are units, and what they add to the columns.
bool take_units(const std::vector<std::string>& row, LogColumns& columns);
/// Whether a value's name is that of an engine's speed ("Engine RPM"), for rows of (time, name, value).
bool names_engine_speed(const std::string& name);

/// A time of day in a cell, seconds from midnight: 10:12:00.250, 2026-01-31T10:12:00Z, 1:02:03 PM, 12:34.5 (minutes
/// and seconds). Nothing when there is none.
std::optional<double> time_of_day_s(const std::string& cell);

}  // namespace hushtrace
