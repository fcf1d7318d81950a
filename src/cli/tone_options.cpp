#include <algorithm>
#include <array>

#include "conditions_options.hpp"
#include "help_section.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Given = std::pair<std::string_view, bool>;

std::array<double, 2> pair_from(std::string_view option, const std::vector<std::string>& texts) {
    const auto values = numbers_from(option, texts);
    if (values.size() != 2) refuse(fmt::format("{}: two values are needed, {} given", option, values.size()));
    return {values[0], values[1]};
}

}  // namespace

void ToneOptions::add_to(CLI::App& app, bool with_duration) {
    const HelpSection section(app, "Tone");
    const auto list = [&](const char* name, std::vector<std::string>& into, const char* help) {
        app.add_option(name, into, help)->delimiter(',')->allow_extra_args(false);
    };
    std::vector<std::string> kinds = as_offer(tone_kind_words());
    kinds.insert(kinds.begin(), "none");
    offer(app.add_option("--tone", kind, fmt::format("the tone that is played: {}", fmt::join(kinds, ", "))), kinds);
    app.add_option("--frequency", frequency, "of a sine or stepped tone [Hz], 997 unless told otherwise");
    list("--frequencies", frequencies, "of the two tones [Hz]");
    app.add_option("--level", level, "level [dBFS]");
    list("--levels", levels, "levels of a stepped tone or of the two tones [dBFS]");
    app.add_option("--from-hz", from_hz, "where a sweep starts [Hz]");
    app.add_option("--to-hz", to_hz, "where a sweep ends [Hz]");
    if (with_duration) app.add_option("--duration", duration, "how long a sweep lasts [s]");
    offer(app.add_option("--tone-channel", channel, "which output plays it: both, left, right; one alone tells crosstalk and swapped leads"),
          {"both", "left", "right"});
    offer<ToneVia>(app.add_option("--via", via, "how the tone gets in: " + choices<ToneVia>()));
}

std::optional<PlayedTone> ToneOptions::tone() const {
    const std::array<Given, 7> given = {{{"--frequency", frequency.has_value()},
                                         {"--frequencies", !frequencies.empty()},
                                         {"--level", level.has_value()},
                                         {"--levels", !levels.empty()},
                                         {"--from-hz", from_hz.has_value()},
                                         {"--to-hz", to_hz.has_value()},
                                         {"--duration", duration.has_value()}}};
    const auto only = [&](std::initializer_list<std::string_view> useful) {
        for (const Given& one : given)
            if (one.second && std::find(useful.begin(), useful.end(), one.first) == useful.end())
                refuse(fmt::format("{}: means nothing for --tone {}", one.first, kind.value_or("none")));
    };
    const auto set = [](double& into, std::string_view option, const std::optional<std::string>& text) {
        if (const auto value = number_from(option, text)) into = *value;
    };
    const auto tone_via = word_from<ToneVia>("--via", via);
    if (channel && *channel != "both" && *channel != "left" && *channel != "right")
        refuse(fmt::format("--tone-channel: '{}' is not one of both, left, right", *channel));
    if (!kind || *kind == "none") {
        only({});
        if (channel) refuse("--tone-channel: needs --tone, such as --tone sweep");
        if (tone_via) refuse("--via: needs --tone, such as --tone sine");
        return std::nullopt;
    }

    PlayedTone played;
    played.via = tone_via;
    if (channel && *channel != "both") played.only = *channel == "left" ? Channel::left : Channel::right;
    if (*kind == "sine") {
        only({"--frequency", "--level"});
        Sine sine;
        set(sine.frequency_hz, "--frequency", frequency);
        set(sine.level_dbfs, "--level", level);
        played.waveform = sine;
    } else if (*kind == "stepped") {
        only({"--frequency", "--levels"});
        if (levels.empty()) refuse("--levels: a stepped tone needs them, such as --levels -20,-10,0");
        Stepped stepped;
        set(stepped.frequency_hz, "--frequency", frequency);
        stepped.levels_dbfs = numbers_from("--levels", levels);
        played.waveform = stepped;
    } else if (*kind == "two_tone") {
        only({"--frequencies", "--levels"});
        TwoTone two;
        if (!frequencies.empty()) two.frequencies_hz = pair_from("--frequencies", frequencies);
        if (!levels.empty()) two.levels_dbfs = pair_from("--levels", levels);
        played.waveform = two;
    } else if (*kind == "sweep") {
        only({"--from-hz", "--to-hz", "--duration", "--level"});
        Sweep sweep;
        set(sweep.from_hz, "--from-hz", from_hz);
        set(sweep.to_hz, "--to-hz", to_hz);
        set(sweep.duration_s, "--duration", duration);
        set(sweep.level_dbfs, "--level", level);
        played.waveform = sweep;
    } else if (*kind == "pink") {
        only({"--level"});
        Pink pink;
        set(pink.level_dbfs, "--level", level);
        played.waveform = pink;
    } else if (*kind == "near_silence") {
        only({});
        played.waveform = NearSilence{};
    } else if (*kind == "polarity_pulse") {
        only({"--level"});
        PolarityPulse pulse;
        set(pulse.level_dbfs, "--level", level);
        played.waveform = pulse;
    } else {
        refuse("--tone: " + none_of(*kind, tone_kind_words()));
    }
    return played;
}

}  // namespace hushtrace::cli
