#pragma once
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"

namespace hushtrace {

/// A job as read, with what was odd about it (unknown fields are kept in the file and warned about).
struct OpenedJob {
    std::filesystem::path folder;
    Job job;
    std::vector<Warning> warnings;
};

/// Reads FOLDER/job.json.
///   throws Error file_unreadable: no such folder, no job.json, not a regular file, over 16 MiB;
///   invalid_input: not JSON, wrong schema, a wrong type, NaN, a negative duration, an unknown word, a path
///   that leaves the folder. The message names the file and the field: "job.json: takes[2].engine: 'idel' is
///   not one of ..."
OpenedJob open_job(const std::filesystem::path& folder);

/// Makes the folder (with takes/ and records/) and writes its job.json.
///   throws Error invalid_request when FOLDER already holds a job.json; file_unwritable
void create_job(const std::filesystem::path& folder, const Job& job);

/// Changes a job under a lock: reads it afresh, lets `change` edit it, writes it atomically (temporary file,
/// fsync, rename). Unknown fields survive. Two processes that change one job at once both keep their change.
///   returns the job as written
///   throws as open_job; file_unwritable; whatever `change` throws (then nothing is written)
OpenedJob change_job(const std::filesystem::path& folder, const std::function<void(Job&)>& change);

/// The take's file inside the job folder, refused when it leaves the folder (also through a link).
///   throws Error invalid_input
std::filesystem::path take_path(const OpenedJob& opened, const Take& take);

/// A message about a take's file that calls it as job.json does, whatever folder the job lies in.
std::string named_as_in_job(const OpenedJob& opened, const Take& take, std::string message);

/// A name for a new take under takes/ that isn't in use: "takes/idle.flac", "takes/idle-2.flac".
std::string free_take_name(const OpenedJob& opened, const std::string& stem,
                           const std::string& suffix = ".flac");

}  // namespace hushtrace
