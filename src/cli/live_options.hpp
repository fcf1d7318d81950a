#pragma once
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "capture_options.hpp"
#include "hushtrace/live/live_session.hpp"

namespace hushtrace::cli {

/// The options of a live session: those of every capture, the knob's, the views'.
struct LiveOptions {
    CaptureOptions sound;
    std::optional<std::string> volume_start, volume_step, share, follow, vehicle_script;
    bool armed = false, plain = false, json_lines = false, keys_from_stdin = false, unpaced = false, no_take = false;

    /// All that every session has, but --job and --json, which the command has.
    void add_to(CLI::App& app);
    /// Those of `gain --live` alone: what is counted, and whether it is stored.
    void add_knob_to(CLI::App& app);
    /// Those of `live` alone: what is followed.
    void add_follow_to(CLI::App& app);
    /// What they say of the session, for a take in these conditions. throws Error invalid_request
    LiveOrder order(LiveTask task, const CaptureOrder& capture, const Job& job) const;
};

/// What a command does with a session: refuses what can't be before anything is asked or written, opens the link with all
/// precautions, shows the view, and comes back at its end. Tells on stderr what the capture was. Where the view's lines
/// could not be written any more the session was ended, and its failure says so.
LiveOutcome run_live_session(LiveTask task, LiveOptions options);

}  // namespace hushtrace::cli
