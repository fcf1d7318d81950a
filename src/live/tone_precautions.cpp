#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <variant>

#include "hushtrace/live/precautions.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kQuietTone_dbfs = -20.0;   // up to here a tweeter is left out of it: common practice, no source
constexpr double kTweeterFrom_hz = 500.0;   // what lies below is no tweeter's to play: common practice, no source
constexpr double kUsualFullScale_v = 10.0;  // peak, of an interface whose scale isn't known: common practice, no source

/// Whether a tone holds what lies on this side of a tweeter's range.
bool reaches(const Waveform& waveform, bool high) {
    const auto fits = [high](double hz) { return high ? hz >= kTweeterFrom_hz : hz < kTweeterFrom_hz; };
    if (const auto* sine = std::get_if<Sine>(&waveform)) return fits(sine->frequency_hz);
    if (const auto* stepped = std::get_if<Stepped>(&waveform)) return fits(stepped->frequency_hz);
    if (const auto* two = std::get_if<TwoTone>(&waveform)) return fits(two->frequencies_hz[0]) || fits(two->frequencies_hz[1]);
    return true;
}

std::string tweeter_text(const Job& job, const Take& take) {
    // the take's own amplifier first; the others hang on the same source, and may be on as well
    std::set<std::string> named;
    std::string amplifiers;
    std::size_t tweeters = 0;
    for (const bool own : {true, false})
        for (const SpeakerData& speaker : job.speakers) {
            if (speaker.kind != SpeakerKind::tweeter || (take.conditions.at_amplifier == speaker.amplifier) != own) continue;
            ++tweeters;
            if (!speaker.amplifier.empty() && named.insert(speaker.amplifier).second)
                amplifiers += (amplifiers.empty() ? "" : ", ") + speaker.amplifier;
        }
    const bool listed = tweeters > 0;
    const bool others_only = !listed && !job.speakers.empty() &&
                             std::all_of(job.speakers.begin(), job.speakers.end(),
                                         [](const SpeakerData& one) { return one.kind.has_value() && *one.kind != SpeakerKind::full_range; });
    if (others_only) return "";
    const std::string which =
        listed ? fmt::format("The job lists {}{}", tweeters == 1 ? "a tweeter" : "tweeters", amplifiers.empty() ? "" : " on " + amplifiers)
                                     : "Where tweeters hang on it";
    return fmt::format("{}: disconnect {} before this tone. {}", which, tweeters == 1 ? "it" : "them",
                       reaches(take.tone->waveform, false) && !reaches(take.tone->waveform, true)
                           ? "Bass without a crossover destroys a tweeter at once."
                           : "A steady tone burns a tweeter at a fraction of its music rating.");
}

}  // namespace

bool may_sound_in_amplifier(const Take& take) {
    if (!take.tone || std::holds_alternative<NearSilence>(take.tone->waveform) || take.conditions.has(Hookup::inputs_shorted)) return false;
    return take.conditions.amplifier != AmplifierState::off;
}

bool sounds_in_amplifier(const Take& take) {
    return may_sound_in_amplifier(take) && (take.conditions.amplifier || take.conditions.point == Point::amp_output);
}

std::string live_amplifier_text(const Take& take) {
    const char* const state = sounds_in_amplifier(take) ? "the amplifier is on, and the interface is about to play a tone into it"
                                                        : "the interface is about to play a tone, and nobody said that the amplifier is off "
                                                          "(--amplifier off says it). Where it is on";
    return std::string(state) + ": gain at its minimum, volume low, speakers disconnected (tweeters above all), nobody's ear near one";
}

std::optional<std::string> output_pad_refusal(const Take& take) {
    const bool tone = take.tone && !std::holds_alternative<NearSilence>(take.tone->waveform);
    if (take.conditions.point != Point::amp_output || !tone || !take.attenuation_db.empty()) return std::nullopt;
    return "--attenuation-db: at an amplifier's output stand tens of volts with a tone: put a pad before the interface's inputs and state its loss "
           "(--attenuation-db 30), or 0 where you know that none is needed";
}

std::vector<Warning> tone_cautions(const Job& job, const Take& take) {
    std::vector<Warning> found;
    if (!sounds_in_amplifier(take)) return found;
    found.push_back({"amplifier_live",
                     "A tone into an amplifier that is on: gain at its minimum first, volume low, a few seconds at a time, nobody's ear near a "
                     "speaker. With speakers on, a steady tone at full power overheats coils and harms hearing within minutes.",
                     std::nullopt});
    if (decibels_from_amplitude(peak_of(take.tone->waveform)) > kQuietTone_dbfs)
        if (const std::string text = tweeter_text(job, take); !text.empty()) found.push_back({"tweeters", text, std::nullopt});
    if (take.conditions.point != Point::amp_output) return found;
    double most_v = 0;
    for (const AmplifierData& one : job.amplifiers) {
        const bool meant = !take.conditions.at_amplifier || *take.conditions.at_amplifier == one.name;
        if (meant && one.power_w && one.load_ohm) most_v = std::max(most_v, std::sqrt(2.0 * *one.power_w * *one.load_ohm));
    }
    for (std::size_t c = 0; c < take.channels.size(); ++c) {
        const double pad_db = c < take.attenuation_db.size() ? take.attenuation_db[c] : 0.0;
        const double full_scale_v = job.volts_full_scale(take, c).value_or(kUsualFullScale_v * amplitude_from_decibels(pad_db));
        if (most_v <= full_scale_v) continue;
        found.push_back({"pad_small",
                         fmt::format("At full power the output peaks at {:.0f} V, more than the {:.0f} V that input {} takes behind its pad: "
                                     "put {:.0f} dB more before it.",
                                     most_v, full_scale_v, c + 1, std::ceil(decibels_from_amplitude(most_v / full_scale_v))),
                         std::nullopt});
        break;
    }
    return found;
}

}  // namespace hushtrace
