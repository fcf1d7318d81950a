#include <fmt/format.h>

#include <algorithm>

#include "../gain/at_ear.hpp"
#include "floor_record_parts.hpp"
#include "hushtrace/job/shown_text.hpp"

namespace hushtrace {
namespace {

/// A word for a shell: in single quotes where it holds anything that a shell reads.
std::string shell_word(std::string_view text) {
    std::string clean = clean_text(text);
    const bool plain = !clean.empty() && std::all_of(clean.begin(), clean.end(), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
               std::string_view("._/-+").find(c) != std::string_view::npos;
    });
    if (plain && clean.front() != '-') return clean;
    std::string out = "'";
    for (const char c : clean) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return out + "'";
}

struct Gaps {
    const OpenedJob& opened;
    FloorRecord& record;

    std::string hushtrace(const char* command) const { return fmt::format("hushtrace {} --job {}", command, shell_word(opened.folder.string())); }
    void add(const char* what, std::string text, std::string command) { record.gaps.push_back({what, std::move(text), std::move(command)}); }

    bool has(Engine engine) const {
        return std::any_of(record.conditions.begin(), record.conditions.end(), [engine](const ConditionFloor& one) { return one.engine == engine; });
    }
    /// The volume at which the others were made: floors compare at one.
    std::string volume() const {
        for (const ConditionFloor& one : record.conditions)
            if (one.volume) return fmt::format(" --volume {:g}", *one.volume);
        return " --volume VOLUME";
    }
    void want(Engine engine, const char* what, const char* text, const char* condition) {
        if (!has(engine))
            add(what, text, hushtrace("capture") + " --device NAME " + condition + volume() + " --source on --laptop battery");
    }
    const ChannelFloor* any_channel(bool (*fits)(const ChannelFloor&)) const {
        for (const ConditionFloor& condition : record.conditions)
            for (const ChannelFloor& channel : condition.channels)
                if (fits(channel)) return &channel;
        return nullptr;
    }
};

void tell_conditions(Gaps& gaps) {
    const Drive drive = gaps.opened.job.vehicle.drive;
    const bool motor = drive == Drive::hybrid || drive == Drive::electric;
    gaps.want(Engine::off, "condition_off", "No floor with the engine off: what is always there isn't known.", "--engine off");
    if (motor) {
        gaps.want(Engine::ready, "condition_ready", "No floor with the vehicle awake ('ready').", "--engine ready");
    } else {
        gaps.want(Engine::idle, "condition_idle", "No floor at idle. Run the engine outdoors, or with its exhaust drawn off.", "--engine idle");
        gaps.want(Engine::raised, "condition_raised", "No floor at a raised speed. In park or neutral, brake on, outdoors.",
                  "--engine raised --rpm 2000");
    }
    const bool loads = std::any_of(gaps.record.conditions.begin(), gaps.record.conditions.end(), [](const ConditionFloor& one) {
        return !one.loads.empty() && (engine_turns(one.engine) || one.engine == Engine::ready);
    });
    if (!loads)
        gaps.add("condition_loads",
                 "No floor with loads on: headlights, blower and rear window heater bring out what the charging system and the fans make.",
                 gaps.hushtrace("capture") + (motor ? " --device NAME --engine ready" : " --device NAME --engine idle") +
                     " --loads headlights,blower,rear_defogger" + gaps.volume() + " --source on --laptop battery");
}

void tell_scale(Gaps& gaps) {
    if (gaps.record.conditions.empty()) return;
    const auto not_in_volts = [](const ChannelFloor& one) { return !one.floor.third_octaves.empty() && !one.floor.unweighted.dbv; };
    const auto unknown = [](const ChannelFloor& one) {
        return !one.floor.third_octaves.empty() && one.floor.bands_interface == InterfaceKnown::nothing;
    };
    const bool some_not = gaps.any_channel(not_in_volts) != nullptr;
    if (some_not)
        gaps.add("calibration",
                 "Not calibrated: no volts, nothing against 1 W, full power or the ear. A steady tone, a meter on the lead, then its reading.",
                 gaps.hushtrace("calibrate") + " --take takes/calibration.flac --volts READING");
    else if (gaps.any_channel(unknown))
        gaps.add("own_noise",
                 "The interface's own noise isn't known, so nothing tells how much of the floor is the interface's. Short the inputs at the probe.",
                 gaps.hushtrace("capture") + " --device NAME --name shorted --hookup inputs_shorted, then " + gaps.hushtrace("calibrate") +
                     " --floor takes/shorted.flac");
}

void tell_ceiling(Gaps& gaps, const GainAnalysis* gain) {
    if (gaps.record.conditions.empty() ||
        !gaps.any_channel([](const ChannelFloor& one) { return !one.floor.third_octaves.empty() && !one.signal_to_noise_db; }))
        return;
    const std::string why = gain && !gain->ceiling_usable() && !gain->ceiling_text.empty() ? " " + gain->ceiling_text : "";
    gaps.add("ceiling", "No ceiling of the source for each channel, so no signal-to-noise: play a full-scale tone and step the volume." + why,
             gaps.hushtrace("capture") +
                 " --device NAME --engine off --tone sine --level 0 --via stick --played tone_997.wav --volume-steps 20,24,28,30,32,34,36,38,40");
}

void tell_amplifiers(Gaps& gaps, const GainAnalysis* gain) {
    const Job& job = gaps.opened.job;
    if (job.amplifiers.empty())
        gaps.add("amplifier", "job.json describes no amplifier: nothing is told against 1 W, full power or the ear.",
                 gaps.hushtrace("job") + " --amplifier NAME,power_w=WATTS,load_ohm=OHMS,sensitivity_v=LOW:HIGH");
    for (const AmplifierData& amplifier : job.amplifiers) {
        if (!full_output_v(amplifier))
            gaps.add("amplifier", fmt::format("The power or the load of the amplifier {} isn't known.", clean_text(amplifier.name)),
                     gaps.hushtrace("job") + " --amplifier " + shell_word(amplifier.name + ",power_w=WATTS,load_ohm=OHMS"));
        const bool found = std::any_of(gaps.record.conditions.begin(), gaps.record.conditions.end(), [&](const ConditionFloor& condition) {
            return std::any_of(condition.channels.begin(), condition.channels.end(), [&](const ChannelFloor& channel) {
                return std::any_of(channel.amplifiers.begin(), channel.amplifiers.end(), [&](const AmplifierFloor& one) {
                    return one.amplifier == amplifier.name && one.gain_from == "found";
                });
            });
        });
        if (!found && gain && full_output_v(amplifier) && !gaps.record.conditions.empty())
            gaps.add("gain",
                     fmt::format("The gain of the amplifier {} was not read at its output: the figures hold for the gain it should have. "
                                 "Speakers off, a tone in short bursts, the meter across its two terminals and nothing else.",
                                 clean_text(amplifier.name)),
                     gaps.hushtrace("job") + " --observe amplifier_output=READINGV --at-amplifier " + shell_word(amplifier.name) +
                         " --volume VOLUME --tone sine --frequency 200 --level 0");
    }
}

}  // namespace

void tell_gaps(const OpenedJob& opened, const GainAnalysis* gain, FloorRecord& record) {
    Gaps gaps{opened, record};
    tell_conditions(gaps);
    tell_scale(gaps);
    tell_ceiling(gaps, gain);
    tell_amplifiers(gaps, gain);
}

}  // namespace hushtrace
