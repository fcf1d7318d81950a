#pragma once
#include <filesystem>
#include <string>

#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/report/document.hpp"

namespace hushtrace::cli {

/// All analyses that the takes allow; in report_command.cpp.
///   throws Error invalid_input when none is allowed
Analyses analyse(const OpenedJob& opened);

/// report --earlier: holds a job against an earlier record of the same vehicle, writes the comparison and prints it.
///   job       its folder
///   earlier   another job's folder, this one (then its state before any change), or a record's data file
///   out       the page; empty: records/comparison.html in the job's folder
void compare_with_earlier(const std::filesystem::path& job, const std::filesystem::path& earlier, const std::string& out, bool json);

}  // namespace hushtrace::cli
