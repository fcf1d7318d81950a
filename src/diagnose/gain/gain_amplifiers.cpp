#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "amplifier_parts.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kWorthSaying_db = 0.1;

/// Of the curves that feed an amplifier, the one with most volts at the volume were its tone at full scale: none may be overdriven. For one
/// that plays bass alone only the bass counts where bass was captured: what its low-pass takes away never drives its output.
void choose_loudest(AmplifierCase& the, std::optional<double> volume) {
    double most_v = 0;
    const auto is_bass = [](const GainCurve* one) { return one->curve.tone_hz <= kHighestForSub_hz; };
    const bool bass_alone = plays_bass_alone(the) && std::any_of(the.feeding.begin(), the.feeding.end(), [&](const GainCurve* one) {
                                return is_bass(one) && level_at(*one, volume);
                            });
    for (const GainCurve* one : the.feeding) {
        if (bass_alone && !is_bass(one)) continue;
        const auto level = level_at(*one, volume);
        if (!level) continue;
        the.highest_tone_dbfs = std::max(one->tone_level_dbfs, the.highest_tone_dbfs.value_or(one->tone_level_dbfs));
        const double full_scale_v = level->v * amplitude_from_decibels(-one->tone_level_dbfs);
        if (the.feed && full_scale_v <= most_v) continue;
        most_v = full_scale_v;
        the.loudest = one;
        the.feed = level;
        the.tone_dbfs = one->tone_level_dbfs;
    }
}

/// One knob feeds all: what the others' ceiling leaves of these channels unused.
void note_conflict(const AmplifierCase& the, const std::optional<Ceiling>& ceiling, AmplifierSetting& setting) {
    for (const GainCurve* one : the.feeding)
        if (one->clean_volume) setting.own_ceiling_volume = std::min(*one->clean_volume, setting.own_ceiling_volume.value_or(*one->clean_volume));
    if (!ceiling || !setting.volume || !setting.own_ceiling_volume || !(*setting.own_ceiling_volume > *setting.volume) || !the.loudest) return;
    const auto at_own = level_dbfs_at(*the.loudest, *setting.own_ceiling_volume), at_job = level_dbfs_at(*the.loudest, *setting.volume);
    if (!at_own || !at_job || *at_own - *at_job < kWorthSaying_db) return;
    setting.notes.push_back(
        fmt::format("its own channels would stay clean up to volume {:g}, but the {} channel ends the volume at {:g} for all that hangs on this "
                    "source: {:.1f} dB of "
                    "its source are left unused",
                    *setting.own_ceiling_volume, to_word(ceiling->channel), *setting.volume, *at_own - *at_job));
}

void note_cautions(const OpenedJob& job, const AmplifierData& amplifier, bool usable, AmplifierSetting& setting) {
    if (amplifier.bridged_output.value_or(false))
        setting.notes.emplace_back(
            "bridged output: both wires are live. Read it with a meter across the two terminals that touches "
            "nothing "
            "else; never connect either wire to ground or to the interface");
    bool tweeter = false;
    for (const SpeakerData& speaker : job.job.speakers)
        tweeter = tweeter || (speaker.amplifier == amplifier.name && speaker.kind == SpeakerKind::tweeter);
    if (tweeter)
        setting.notes.emplace_back(
            "a tweeter hangs on it: disconnect it before any test tone, or leave its protecting capacitor in "
            "and stay far below full power");
    if (usable && setting.target_output_v && !setting.refused)
        setting.notes.emplace_back(
            "set it with the speakers disconnected, tone in bursts of a few seconds; with speakers on, a "
            "full-power tone "
            "burns tweeters and harms hearing");
}

/// Why there is no gain for an amplifier whose source has a ceiling.
std::string no_feed(const AmplifierCase& the, std::optional<double> volume) {
    const bool calibrated =
        std::any_of(the.feeding.begin(), the.feeding.end(), [](const GainCurve* one) { return level_at(*one, std::nullopt).has_value(); });
    if (calibrated && volume)
        return fmt::format(
            "its channels weren't played at volume {:g}, nor above and below it: capture a stepped take of them that holds this volume",
            *volume);
    if (the.feeding.empty()) return "no take tells what feeds it: capture a stepped take of its channels, or correct at_amplifier";
    return "not calibrated: run hushtrace calibrate with a meter's reading, then the input voltage "
           "and the gain follow. The volume, the target output and the distortion hold without it";
}

}  // namespace

void set_amplifiers(const OpenedJob& job, const OpenTake& open, const std::vector<GainCurve>& curves,
                    const GainRequest& request, GainAnalysis& into) {
    const bool usable = into.ceiling_usable();
    // Without a ceiling the highest volume that all channels played clean stands in for it.
    std::optional<double> volume = into.ceiling ? into.ceiling->volume : std::nullopt;
    if (!into.ceiling)
        for (const GainCurve& one : curves)
            if (one.clean_volume && !(one.held_back && one.curve.ceiling_reason == "too_noisy"))
                volume = std::min(*one.clean_volume, volume.value_or(*one.clean_volume));
    const std::vector<GainCurve> outputs = read_output_takes(job, open, into.warnings);

    for (const AmplifierData& amplifier : job.job.amplifiers) {
        AmplifierSetting setting;
        setting.name = amplifier.name;
        AmplifierCase the{.job = job, .amplifier = amplifier, .request = request, .feeding = {}, .feed = std::nullopt};
        set_target(the, setting);
        the.feeding = curves_for(amplifier, curves, setting.notes);
        for (const GainCurve* one : the.feeding)
            if (std::find(setting.channels.begin(), setting.channels.end(), one->curve.channel) == setting.channels.end())
                setting.channels.push_back(one->curve.channel);
        if (!usable) {
            setting.notes.emplace_back("no ceiling, so no gain can be given: see the reason above");
        } else {
            setting.volume = volume;
            choose_loudest(the, volume);
            const bool fed = the.feed.has_value();
            pass_converter(the, setting);
            if (the.feed) {
                set_gain(the, setting);
                if (!into.ceiling)
                    setting.notes.emplace_back(
                        "for the highest volume that was played, since no clipping was found");
                place_on_dial(the, setting);
                note_conflict(the, into.ceiling, setting);
                set_noise(the, open, setting);
            } else if (!fed && !setting.refused) {
                if (into.ceiling && setting.target_output_v) choose_confirming_tone(the, into.ceiling->tone_hz, setting);
                setting.notes.push_back(no_feed(the, volume));
            }
        }
        check_output(the, outputs, into.limit_thd_percent, setting);
        set_splits(the, open, setting);
        note_cautions(job, amplifier, usable, setting);
        into.amplifiers.push_back(setting);
    }
}

}  // namespace hushtrace
