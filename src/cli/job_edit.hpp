#pragma once
#include <CLI/CLI.hpp>
#include <filesystem>
#include <string>
#include <vector>

#include "hushtrace/job/job_folder.hpp"
#include "job_take.hpp"

namespace hushtrace::cli {

/// Taking out and renaming parts of the description, taking back takes and observations.
struct EditOptions {
    std::vector<std::string> remove, rename, withdraw;

    void add_to(CLI::App& app);
    bool any() const { return !remove.empty() || !rename.empty() || !withdraw.empty(); }
};

/// Takes a part out: "amplifier:sub", "speaker:sub", "branch:sub", "converter:sub", "speaker:#2" (the second), "calibration",
/// "own_noise", "limits".
///   throws Error invalid_request: there is no such part, or several of that name
void remove_part(Job& job, const std::string& what);

/// "amplifier:sub=rear sub": with it the speakers on it, the branch that bears its name, and the takes and observations at it.
///   throws Error invalid_request
void rename_part(Job& job, const std::string& what);

/// Takes a take ("takes/idle.flac", "idle") or an observation ("observation:2", its number in the job) back; no sound file is touched.
///   returns what was done, in words for the user; `folder` is named in them
///   throws Error invalid_request: no such entry
std::string withdraw_entry(Job& job, const std::string& what, const std::filesystem::path& folder);

/// The job's take that a person means by its file, the name of that, or its stem.
///   throws Error invalid_request: none, or more than one
std::size_t take_meant(const Job& job, const std::string& typed);

/// A take with what was given put in its place: "unknown" takes a value out, "none" empties a list. Marks and volume steps are
/// those of `options`.
///   throws Error invalid_request, naming the option: a value that isn't one, conditions that contradict each other
Take corrected_take(const Take& take, const TakeOptions& options, ConditionsOptions conditions, const ChannelOptions& channels,
                    const ToneOptions& tone);

/// The options that state these conditions again: "--engine idle --rpm 760 --loads headlights", with a space before.
std::string conditions_as_options(const Take& take);

}  // namespace hushtrace::cli
