#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "conditions_options.hpp"
#include "ground_check.hpp"
#include "hushtrace/live/capture_session.hpp"

namespace hushtrace::cli {

/// The options of `capture`, as text until they are asked for.
struct CaptureOptions {
    std::string job, format = "flac";
    std::optional<std::string> device, output_device, simulate, from, name, note_change, seconds, max_level,
        rate, latency, frames, step_seconds, output_lead, played, knob_script, burst;
    std::vector<std::string> volume_steps;
    bool json = false, paced = false, marks_from_stdin = false, amplifier_live_ok = false;
    bool may_burst = false;  ///< whoever captures takes tones in bursts
    ConditionsOptions conditions;
    ChannelOptions channels;
    ToneOptions tone;
    GroundOptions ground;

    void add_to(CLI::App& app);
    /// Those that whatever captures has in common: all but --job, --json, volume steps, pace and marks.
    void add_sound_to(CLI::App& app);

    /// How the sound comes in. throws Error invalid_request unless exactly one was named
    enum class Way { device, simulation, file };
    Way way() const;
    /// Channels to capture from a device or the simulation: as many as were named, else two.
    std::size_t input_channels() const;
    /// Everything that the options say of the take, checked against each other before anything is opened;
    /// channels are named for `file_channels` of them, tones checked at `sample_rate_hz`.
    ///   throws Error invalid_request
    CaptureOrder order(std::size_t file_channels, double sample_rate_hz) const;
    /// Whether the interface's output lead is in the source: as said, else when the interface plays.
    bool output_lead_in(const CaptureOrder& order) const;
    DeviceWish device_wish(const CaptureOrder& order) const;
    double device_rate_hz() const;

private:
    void settle_bursts(CaptureOrder& order) const;
};

/// The scenario file: a path, or the bare name of one in the folder of signals (environment
/// HUSHTRACE_SIGNALS, else that of shared_folder()).
///   throws Error file_unreadable, naming those that there are
std::filesystem::path scenario_path(const std::string& asked);

}  // namespace hushtrace::cli
