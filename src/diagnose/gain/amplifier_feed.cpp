#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "amplifier_parts.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kSameVolume = 1e-9;

/// The steps on either side of a volume, and how far it lies from the first to the second.
struct Between {
    const VolumeStep* below = nullptr;
    const VolumeStep* above = nullptr;
    double share = 0;
};

std::optional<Between> find_volume(const GainCurve& curve, double volume) {
    Between found;
    for (const VolumeStep& step : curve.curve.steps) {
        if (!step.volume || step.input_overload) continue;
        if (std::abs(*step.volume - volume) < kSameVolume) return Between{&step, &step, 0.0};
        if (*step.volume < volume && (!found.below || *step.volume > *found.below->volume)) found.below = &step;
        if (*step.volume > volume && (!found.above || *step.volume < *found.above->volume)) found.above = &step;
    }
    if (!found.below || !found.above) return std::nullopt;
    found.share = (volume - *found.below->volume) / (*found.above->volume - *found.below->volume);
    return found;
}

bool knows_volumes(const GainCurve& curve) {
    return std::any_of(curve.curve.steps.begin(), curve.curve.steps.end(), [](const VolumeStep& s) { return s.volume.has_value(); });
}

}  // namespace

bool named_sub(const AmplifierData& amplifier) {
    std::string name = amplifier.name;
    std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return name.find("sub") != std::string::npos;
}

namespace {
/// All of its speakers whose kind is stated are of this one, and one is; unset where none is stated.
std::optional<bool> speakers_are(const AmplifierCase& the, SpeakerKind kind) {
    std::optional<bool> are;
    for (const SpeakerData& speaker : the.job.job.speakers)
        if (speaker.amplifier == the.amplifier.name && speaker.kind) are = are.value_or(true) && *speaker.kind == kind;
    return are;
}
}  // namespace

bool plays_bass_alone(const AmplifierCase& the) {
    const auto& channels = the.amplifier.channels;
    if (const auto are = speakers_are(the, SpeakerKind::subwoofer)) return *are;
    return named_sub(the.amplifier) || (channels.size() == 1 && channels.front() == Channel::sub);
}

bool plays_treble_alone(const AmplifierCase& the) { return speakers_are(the, SpeakerKind::tweeter).value_or(false); }

bool above_zero(const std::optional<double>& value) { return value && std::isfinite(*value) && *value > 0; }

std::optional<FeedLevel> level_at(const GainCurve& curve, std::optional<double> volume) {
    if (!curve.clean_step) return std::nullopt;
    Between at{&curve.curve.steps[*curve.clean_step], &curve.curve.steps[*curve.clean_step], 0.0};
    const bool volumes_known = knows_volumes(curve);
    if (volume && volumes_known) {
        const auto found = find_volume(curve, *volume);
        if (!found) return std::nullopt;
        at = *found;
    }
    if (!at.below->level_v || !at.above->level_v) return std::nullopt;
    const double ratio = *at.above->level_v / *at.below->level_v;
    FeedLevel level{.v = *at.below->level_v * std::pow(ratio, at.share),
                    .sd_db = std::max(at.below->level_sd_db, at.above->level_sd_db),
                    .v_sd = std::nullopt,
                    .between_steps = at.share > 0,
                    .volume_unknown = volume && !volumes_known};
    if (at.below->level_v_sd) level.v_sd = level.v * *at.below->level_v_sd / *at.below->level_v;
    return level;
}

std::optional<double> level_dbfs_at(const GainCurve& curve, double volume) {
    const auto at = find_volume(curve, volume);
    if (!at) return std::nullopt;
    return at->below->level_dbfs + at->share * (at->above->level_dbfs - at->below->level_dbfs);
}

std::optional<double> highest_volume_below(const GainCurve& curve, double most_v) {
    std::optional<double> best;
    for (const VolumeStep& step : curve.curve.steps)
        if (step.volume && step.level_v && *step.level_v <= most_v && (!best || *step.volume > *best)) best = step.volume;
    return best;
}

std::vector<const GainCurve*> curves_for(const AmplifierData& amplifier, const std::vector<GainCurve>& curves,
                                         std::vector<std::string>& notes) {
    std::vector<const GainCurve*> all, named;
    for (const GainCurve& one : curves) {
        if (!one.clean_step || one.tone_is_stepped) continue;
        const auto& at = one.take->conditions.at_amplifier;
        if (at && *at != amplifier.name) continue;
        all.push_back(&one);
        if (at) named.push_back(&one);
    }
    if (!named.empty()) all = named;
    std::vector<const GainCurve*> chosen;
    if (!amplifier.channels.empty()) {
        std::string missing;
        for (const Channel channel : amplifier.channels) {
            const auto before = chosen.size();
            for (const GainCurve* one : all)
                if (one->curve.channel == channel) chosen.push_back(one);
            if (chosen.size() == before) missing += fmt::format("{}{}", missing.empty() ? "" : ", ", to_word(channel));
        }
        if (!missing.empty() && !all.empty())
            notes.push_back(fmt::format("no clean step of its channel {} was captured{}", missing,
                                        chosen.empty() ? "; the other channels stand in, so capture it before you set the gain" : ""));
    } else {
        const bool sub = named_sub(amplifier);
        for (const GainCurve* one : all)
            if ((one->curve.channel == Channel::sub) == sub) chosen.push_back(one);
    }
    return chosen.empty() ? all : chosen;
}

void pass_converter(AmplifierCase& the, AmplifierSetting& setting) {
    const auto& converter = the.amplifier.converter;
    const bool speaker_source = the.job.job.source.output == OutputKind::speaker;
    if (speaker_source && the.amplifier.input == OutputKind::line && !converter) {
        setting.refused =
            "the source's output is at speaker level and this input is a line input: use its high-level input (input=speaker), or put a "
            "line converter into the lead and describe it (--converter). No gain is given for it as it is";
        the.feed.reset();
        return;
    }
    if (the.job.job.source.output == OutputKind::line && the.amplifier.input == OutputKind::speaker)
        setting.notes.emplace_back(
            "a line output into a high-level input: that input wants some volts more (common practice, no source); the line input suits better, "
            "if it has one");
    if (!converter || !the.feed) return;
    if (the.amplifier.input == OutputKind::speaker)
        setting.notes.emplace_back("behind a line converter belongs a line input, not a high-level one");
    const bool ahead = the.loudest->take->conditions.point == Point::source_output;
    if (!converter->loss_db) {
        if (ahead) {
            setting.refused =
                "its converter's ratio is not known, and the tone was captured ahead of it: capture at the amplifier's input, or state "
                "loss_db or step_down (--converter)";
            the.feed.reset();
        }
        return;
    }
    const double down = amplitude_from_decibels(-*converter->loss_db);
    const double full_scale = amplitude_from_decibels(-the.tone_dbfs);
    setting.converter_input_v = full_scale * (ahead ? the.feed->v : the.feed->v / down);
    if (ahead) {
        the.to_input = down;
        the.feed->v *= down;
        if (the.feed->v_sd) *the.feed->v_sd *= down;
    }
    const auto too_much = [&](const std::optional<double>& most_v, double there_v, const char* side) {
        if (!most_v || there_v <= *most_v) return;
        const double over_db = decibels_from_amplitude(there_v / *most_v);
        const auto volume = highest_volume_below(*the.loudest, the.feed->v / the.to_input * amplitude_from_decibels(-over_db));
        const std::string until = volume ? fmt::format(" (volume {:g} at most)", *volume) : std::string();
        setting.notes.push_back(
            fmt::format("its line converter clips first: {:.2f} V at its {} is {:.1f} dB more than the {:g} V it takes. Stay {:.1f} dB below "
                        "the ceiling{}, or use a converter for more volts",
                        there_v, side, over_db, *most_v, over_db, until));
    };
    too_much(converter->max_input_v, *setting.converter_input_v, "input");
    too_much(converter->max_output_v, *setting.converter_input_v * down, "output");
}

}  // namespace hushtrace
