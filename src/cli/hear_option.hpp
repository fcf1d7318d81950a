#pragma once
#include <CLI/CLI.hpp>
#include <optional>
#include <string>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"

namespace hushtrace::cli {

/// --hear FOLDER: each noise source as sound files.
struct HearOption {
    std::string folder;
    std::optional<double> gain_db;

    /// A folder that can't be written to, or a gain without one, is said before the analysis.
    void check() const;
    /// Writes the sounds, their playlist and their page, where they were asked for. Returns what to tell of it.
    std::string write(const OpenedJob& opened, NoiseAnalysis& analysis) const;
};
void add_hear_option(CLI::App& command, HearOption& option);

}  // namespace hushtrace::cli
