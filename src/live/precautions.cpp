#include "hushtrace/live/precautions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

bool may_be_grounded(const Job& job) {
    return job.interface.input.value_or(InterfaceInput::grounded) == InterfaceInput::grounded;
}

std::string input_words(const Job& job) {
    return job.interface.input
               ? "the interface's input is grounded"
               : "it is not known whether the interface's input is grounded (interface.input)";
}

const char* remedy =
    "measure through a floating or differential input (an isolating transformer) and note it (hushtrace job --interface-input floating)";

bool shorts_the_probe(const Conditions& conditions) {
    return conditions.has(Hookup::inputs_shorted);
}

/// Whether a take at an amplifier's output may be this one's: any may be where none is named, or a name that the job doesn't know.
bool may_be_probed(const Job& job, const AmplifierData& amplifier, const Conditions& conditions) {
    const auto& at = conditions.at_amplifier;
    return !at || amplifier.name == *at ||
           std::none_of(job.amplifiers.begin(), job.amplifiers.end(), [&](const AmplifierData& one) { return one.name == *at; });
}

/// The probe sits at the input of an amplifier whose converter joins no wire of the source to its own output.
bool behind_isolating_converter(const Job& job, const Conditions& conditions) {
    if (conditions.point != Point::amp_input || job.amplifiers.empty()) return false;
    const auto& at = conditions.at_amplifier;
    const auto reached = [&](const AmplifierData& one) { return !at || one.name == *at; };
    return std::any_of(job.amplifiers.begin(), job.amplifiers.end(), reached) &&
           std::all_of(job.amplifiers.begin(), job.amplifiers.end(), [&](const AmplifierData& one) {
               return !reached(one) || (one.converter && one.converter->isolating == true);
           });
}

bool any_earlier(const Job& job, bool (*matches)(const Conditions&)) {
    return std::any_of(job.takes.begin(), job.takes.end(),
                       [matches](const Take& take) { return matches(take.conditions); });
}

bool turns(const Conditions& conditions) {
    return engine_turns(conditions.engine);
}
bool awake(const Conditions& conditions) {
    return conditions.engine != Engine::off;
}

}  // namespace

bool ground_check_matters(const Conditions& conditions) {
    return !shorts_the_probe(conditions);
}

std::optional<std::string> refusal(const Job& job, const Conditions& conditions) {
    const auto wakes = std::find_if(job.observations.rbegin(), job.observations.rend(),
                                    [](const Observation& one) { return one.what == "amplifier_wakes" && one.heard; });
    if (wakes != job.observations.rend() && *wakes->heard == "only_with_lead" && !shorts_the_probe(conditions))
        return "the amplifier wakes only with the signal lead plugged in: it has lost its own ground, and its supply current returns through "
               "the lead's shield. "
               "Connect no interface, pull the lead, mend the ground; then note --observe amplifier_wakes=by_itself";
    if (!may_be_grounded(job) || shorts_the_probe(conditions)) return std::nullopt;
    if (conditions.point == Point::amp_output) {
        for (const AmplifierData& amplifier : job.amplifiers)
            if (amplifier.bridged_output == true && may_be_probed(job, amplifier, conditions))
                return fmt::format("amplifier '{}' has a bridged output, which drives both wires, and {}: {}",
                                   amplifier.name, input_words(job), remedy);
        return std::nullopt;
    }
    if (job.source.output == OutputKind::speaker && !behind_isolating_converter(job, conditions))
        return fmt::format(
            "the source's output is a speaker output, which drives both wires, and {}: {}; a probe behind a line "
            "converter in the lead is safe where that isolates: --converter AMPLIFIER,isolating=yes",
            input_words(job), remedy);
    return std::nullopt;
}

std::vector<Warning> cautions(const Job& job, const Conditions& conditions) {
    std::vector<Warning> found;
    const auto caution = [&found](const char* code, const char* text) {
        found.push_back({code, text, std::nullopt});
    };
    const bool high_voltage = job.vehicle.drive == Drive::hybrid || job.vehicle.drive == Drive::electric;
    if (high_voltage && !any_earlier(job, [](const Conditions&) { return true; }))
        caution("high_voltage",
                "High-voltage vehicle: hands off orange cables, no lead along them, no ground at their "
                "brackets. It may "
                "start by itself when awake.");
    if (turns(conditions) && !any_earlier(job, turns))
        caution("engine_running",
                "Engine running: outdoors or with exhaust extraction only. Park, neutral, chocks; no loose "
                "leads or "
                "sleeves near belts and fans, which may start by themselves.");
    if (high_voltage && conditions.engine == Engine::ready && !any_earlier(job, awake))
        caution("vehicle_awake", "The vehicle is awake: it can move. Park, brake on, wheels chocked.");
    if (!may_be_grounded(job) || shorts_the_probe(conditions)) return found;
    const bool bridging_unknown =
        job.amplifiers.empty() || std::any_of(job.amplifiers.begin(), job.amplifiers.end(),
                                              [&](const AmplifierData& one) { return may_be_probed(job, one, conditions) && !one.bridged_output; });
    if (conditions.point == Point::amp_output && bridging_unknown)
        caution("output_kind_unknown",
                "It is not known whether the amplifier's output is bridged. Where it is, neither of its "
                "wires may touch a "
                "grounded input: find out first, and note it (hushtrace job --amplifier NAME,bridged_output=no).");
    if (conditions.point != Point::amp_output && job.source.factory == true && !job.source.output)
        caution("output_kind_unknown",
                "It is not known whether this factory source has line or speaker outputs. Neither wire of a "
                "speaker output "
                "may touch a grounded input: find out, and write source.output.");
    return found;
}

std::optional<Warning> mark_output_lead(Conditions& conditions, bool output_lead_in,
                                        const std::optional<PlayedTone>& tone) {
    const bool seeks_noise = !tone || std::holds_alternative<NearSilence>(tone->waveform);
    if (!output_lead_in || !seeks_noise || shorts_the_probe(conditions)) return std::nullopt;
    const AttachedDevice lead{"interface_output", PoweredFrom::none};
    if (std::find(conditions.attached.begin(), conditions.attached.end(), lead) == conditions.attached.end())
        conditions.attached.push_back(lead);
    return Warning{
        "interface_output_wired",
        "The interface's output lead is in the source: with its input it closes a loop of its own, and noise "
        "may be of that loop. For noise takes pull it, and play near-silence from a stick, phone or disc.",
        std::nullopt};
}

}  // namespace hushtrace
