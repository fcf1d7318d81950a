#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/ground_reading.hpp"
#include "hushtrace/job/job.hpp"

/// What must be settled before a lead is connected, beside the two readings of a meter: rules alone, no questions and no devices.
namespace hushtrace {

/// Whether the check must be settled before this take: every one with a lead on the vehicle, so all but those
/// with the lead's inputs shorted at the probe.
bool ground_check_matters(const Conditions& conditions);

/// Why this take may not be made with the interface's inputs as they are; empty when it may. Bridged
/// amplifier outputs and a source's speaker outputs drive both wires: a grounded input shorts one of them.
std::optional<std::string> refusal(const Job& job, const Conditions& conditions);

/// What to beware of in these conditions that refusal() could not settle: codes "high_voltage",
/// "vehicle_awake", "engine_running", each once a job (not when an earlier take was made in such conditions),
/// "output_kind_unknown".
std::vector<Warning> cautions(const Job& job, const Conditions& conditions);

/// Whether a take's tone sounds in an amplifier that is on: it is said to be on, or is read at its output without being
/// said to be off. Near-silence is no tone.
bool sounds_in_amplifier(const Take& take);
/// The same where nobody said whether the amplifier is on: it may be.
bool may_sound_in_amplifier(const Take& take);
/// What must be so before a tone goes into an amplifier that is on, or may be; one sentence.
std::string live_amplifier_text(const Take& take);
/// Why a tone may not be read at an amplifier's output: no pad was stated (attenuation_db), without which an output of tens
/// of volts meets an input made for a few. Empty when it may.
std::optional<std::string> output_pad_refusal(const Take& take);
/// What a tone in an amplifier that is on may harm, and at its output what the pad doesn't hold off: codes
/// "amplifier_live", "tweeters", "pad_small". Nothing for other takes.
std::vector<Warning> tone_cautions(const Job& job, const Take& take);

/// Marks a take that looks for noise while the interface's output lead is in the source: the lead closes a
/// loop of its own. `plays` is what the interface plays, if anything.
///   returns the warning "interface_output_wired", after adding { "interface_output", none } to `attached`;
///   nothing for a take with a real tone, which is not made to find noise
std::optional<Warning> mark_output_lead(Conditions& conditions, bool output_lead_in,
                                        const std::optional<PlayedTone>& tone);

}  // namespace hushtrace
