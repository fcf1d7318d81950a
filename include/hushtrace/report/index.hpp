#pragma once
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

/// One line a job, of many jobs: from what was kept of them, without looking at their takes again.
namespace hushtrace {

/// The job folders that a folder is or holds, at whatever depth down to 8, in the order of their names. A job's own folders,
/// hidden ones and links are not gone into.
///   throws Error file_unreadable: no such folder, no job in it
std::vector<std::filesystem::path> jobs_below(const std::filesystem::path& folder);

struct IndexLine {
    std::string text;     ///< one JSON object, hushtrace.index/1, ending in a newline
    bool failed = false;  ///< the job can't be read: its `error` says why, its facts are null
};
/// The line of one job: its facts, what the newest of its records says, what is open.
IndexLine index_line(const std::filesystem::path& job_folder, std::string_view version);

}  // namespace hushtrace
