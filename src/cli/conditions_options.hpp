#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "hushtrace/job/job.hpp"

/// The options that state a take's or an observation's conditions, and the tone that was played: one spelling
/// for all commands. Everything is text until it is asked for; then a bad value throws Error invalid_request,
/// naming its option.
namespace hushtrace::cli {

struct ConditionsOptions {
    std::optional<std::string> point, engine, rpm, source, input, volume, amplifier, laptop, at_amplifier;
    std::vector<std::string> hookup, loads, attached;

    /// --engine --rpm --source --input --volume --amplifier --hookup --loads --attached --laptop --point --at-amplifier.
    /// Lists are separated by commas, or the option is given again.
    void add_to(CLI::App& app);
    /// What was not given stays "not stated"; an engine that was not given is off, a hookup normal.
    Conditions conditions() const;
    bool engine_stated() const { return engine.has_value(); }
};

/// --channels --attenuation-db: what the inputs carried.
struct ChannelOptions {
    std::vector<std::string> channels, attenuation_db;

    void add_to(CLI::App& app);
    /// The channels of a file with so many: as given, else left for one and left, right for two.
    ///   throws Error invalid_request when the count differs, a channel comes twice, or none is given for
    ///   three or more
    std::vector<Channel> channels_of(std::size_t file_channels) const;
    /// One pad loss for each channel [dB], empty for none; one value stands for all channels.
    std::vector<double> pads_of(std::size_t file_channels) const;
};

/// --tone --frequency --frequencies --level --levels --from-hz --to-hz --duration --via
struct ToneOptions {
    std::optional<std::string> kind, frequency, level, from_hz, to_hz, duration, via, channel;
    std::vector<std::string> frequencies, levels;

    /// `with_duration`: also --duration, a sweep's length [s]; leave it out where the command's own option
    /// means that.
    void add_to(CLI::App& app, bool with_duration = true);
    /// Nothing without --tone, or for "none". Values that the kind has no use for are refused, not ignored;
    /// the waveform itself is checked by ToneGenerator.
    std::optional<PlayedTone> tone() const;
};

}  // namespace hushtrace::cli
