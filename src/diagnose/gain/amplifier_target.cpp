#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "amplifier_parts.hpp"
#include "at_ear.hpp"
#include "hushtrace/job/calibration.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/vehicle/amplifier_gain.hpp"

namespace hushtrace {
namespace {

constexpr double kPlainLevel_db = 0.05;  // a tone this close to full scale is one
constexpr double kCloseCall = 0.005;     // relative: speaker and amplifier rated alike
// Sub 40 to 50 Hz, in the trade's practice; 200 Hz lies above the usual high-pass of the rest and below where
// plain meters begin to read low (common practice, no source).
constexpr double kSubTone_hz = 45.0, kFullRangeTone_hz = 200.0;
constexpr double kSameLoad = 0.95;       // of the stated load: 3.8 ohm is called 4

std::string least_or_most(bool most) { return most ? "its most sensitive end" : "its least sensitive end"; }

/// What a speaker's terminals meet: its own impedance; the amplifier's load where that isn't stated.
const std::optional<double>& impedance_of(const SpeakerData& speaker, const AmplifierData& amplifier) {
    return speaker.impedance_ohm ? speaker.impedance_ohm : amplifier.load_ohm;
}

/// The voltage at which the weakest of an amplifier's speakers has its rated power.
std::optional<double> speaker_limit_v(const Job& job, const AmplifierData& amplifier, const SpeakerData*& weakest) {
    std::optional<double> lowest_v;
    for (const SpeakerData& speaker : job.speakers) {
        const auto& ohm = impedance_of(speaker, amplifier);
        if (speaker.amplifier != amplifier.name || !above_zero(speaker.power_w) || !above_zero(ohm)) continue;
        const double volts = std::sqrt(*speaker.power_w * *ohm);
        if (lowest_v && volts >= *lowest_v) continue;
        lowest_v = volts;
        weakest = &speaker;
    }
    return lowest_v;
}

/// A passage at full scale, held against what the speaker takes: the output's volts into its own impedance.
void note_speaker(const AmplifierCase& the, const FullScalePassage& passage, AmplifierSetting& setting) {
    if (!the.weakest) return;
    const double ohm = *impedance_of(*the.weakest, the.amplifier), power_w = passage.power_out_w * *the.amplifier.load_ohm / ohm;
    if (power_w <= *the.weakest->power_w * (1.0 + kCloseCall)) return;
    setting.notes.push_back(fmt::format("a passage at full scale then brings its speaker up to {:.0f} W{}, more than the {:g} W that it is rated for",
                                        power_w, the.weakest->impedance_ohm ? fmt::format(" into {:g} ohm", ohm) : "", *the.weakest->power_w));
}

/// A speaker below the load that the amplifier's power is stated for draws more current than that power needs.
void note_low_load(const AmplifierCase& the, AmplifierSetting& setting) {
    if (!above_zero(the.amplifier.load_ohm)) return;
    std::optional<double> lowest;
    for (const SpeakerData& speaker : the.job.job.speakers)
        if (speaker.amplifier == the.amplifier.name && above_zero(speaker.impedance_ohm))
            lowest = std::min(*speaker.impedance_ohm, lowest.value_or(*speaker.impedance_ohm));
    if (!lowest || *lowest >= kSameLoad * *the.amplifier.load_ohm) return;
    setting.notes.push_back(fmt::format("its speaker of {:g} ohm lies below the {:g} ohm that its power is stated for{}: don't connect it unless the "
                                        "amplifier's maker allows so low a load{}",
                                        *lowest, *the.amplifier.load_ohm, the.amplifier.bridged_output.value_or(false) ? ", bridged" : "",
                                        the.amplifier.bridged_output.value_or(false) ? " on a bridged output" : ""));
}

}  // namespace

void set_target(AmplifierCase& the, AmplifierSetting& setting) {
    const AmplifierData& amplifier = the.amplifier;
    setting.rated_output_v = full_output_v(amplifier);
    note_low_load(the, setting);
    const auto speaker_v = speaker_limit_v(the.job.job, amplifier, the.weakest);
    if (!setting.rated_output_v) {
        setting.notes.emplace_back("power_w and load_ohm, both above 0, are needed for its target output");
        return;
    }
    setting.target_output_v = setting.rated_output_v;
    setting.target_limited_by = "amplifier";
    if (!speaker_v || *speaker_v >= *setting.rated_output_v * (1.0 - kCloseCall)) return;
    setting.target_output_v = speaker_v;
    setting.target_limited_by = "speaker";
    setting.notes.push_back(
        fmt::format("its speaker takes {:.1f} V ({:g} W into {:g} ohm), less than the amplifier's {:.1f} V ({:g} W into {:g} ohm): the target is "
                    "{:.1f} V",
                    *speaker_v, *the.weakest->power_w, *impedance_of(*the.weakest, amplifier), *setting.rated_output_v, *amplifier.power_w,
                    *amplifier.load_ohm, *speaker_v));
}

void choose_confirming_tone(const AmplifierCase& the, double captured_hz, AmplifierSetting& setting) {
    const double meter_hz = CalibrationRequest{}.meter_good_to_hz;
    const bool sub = plays_bass_alone(the), fits = captured_hz <= (sub ? kHighestForSub_hz : meter_hz);
    if (fits || plays_treble_alone(the)) {
        setting.confirm_tone_hz = captured_hz;
        return;
    }
    setting.confirm_tone_hz = sub ? kSubTone_hz : kFullRangeTone_hz;
    setting.notes.push_back(fmt::format("read its output with {:g} Hz, not {:g} Hz: {}a plain meter reads low above some {:g} Hz (common practice, "
                                        "no source). The source's level was captured at {:g} Hz and is taken to be the same there; a stepped take with "
                                        "{:g} Hz makes that sure. For this its crossover, bass boost and equaliser are off or flat",
                                        *setting.confirm_tone_hz, captured_hz, sub ? "a sub's low-pass takes that away, and " : "", meter_hz,
                                        captured_hz, *setting.confirm_tone_hz));
}

void set_gain(AmplifierCase& the, AmplifierSetting& setting) {
    const double as_played_v = the.feed->v, tone_dbfs = the.tone_dbfs;
    const double full_scale_v = as_played_v * amplitude_from_decibels(-tone_dbfs);
    const bool below_full_scale = std::abs(tone_dbfs) > kPlainLevel_db;
    setting.input_v_at_ceiling = full_scale_v;
    const auto& stated = the.request.allowance_db ? the.request.allowance_db : the.amplifier.allowance_db;
    // Of several tones the one nearest to full scale counts: at that level it was seen to fit.
    const double by_tone_db = -the.highest_tone_dbfs.value_or(tone_dbfs);
    const bool tone_allows = std::abs(by_tone_db) > kPlainLevel_db;
    setting.allowance_db = stated ? *stated : tone_allows ? by_tone_db : 0.0;
    setting.allowance_from = the.request.allowance_db ? "option" : stated ? "job" : tone_allows ? "tone" : "";
    setting.tone_hz = the.loudest->curve.tone_hz;
    setting.tone_dbfs = tone_dbfs;
    setting.confirm_tone_dbfs = 0.0 - setting.allowance_db;
    choose_confirming_tone(the, the.loudest->curve.tone_hz, setting);
    setting.sensitivity_v = full_scale_v * amplitude_from_decibels(-setting.allowance_db);
    if (the.feed->v_sd) {
        const double relative = *the.feed->v_sd / as_played_v;
        setting.input_v_at_ceiling_sd = full_scale_v * relative;
        setting.sensitivity_v_sd = *setting.sensitivity_v * relative;
        if (setting.target_output_v) setting.gain_sd_db = decibels_from_amplitude(1.0 + relative);
    }
    if (the.feed->between_steps)
        setting.notes.push_back(fmt::format("volume {:g} wasn't played on the {} channel: its level there is taken from the volumes beside it",
                                            *setting.volume, to_word(the.loudest->curve.channel)));
    if (the.feed->volume_unknown)
        setting.notes.push_back(fmt::format("the volumes of {} aren't known: the level of its highest clean step is taken for that at volume {:g}. "
                                            "Name its volumes (--volume-steps), or capture it again",
                                            the.loudest->curve.take, *setting.volume));
    if (below_full_scale)
        setting.notes.push_back(
            fmt::format("measured with a tone of {:g} dBFS: that tone must bring {} from {:.2f} V. A recording that reaches full scale asks for "
                        "{:.2f} V there, {:g} dB more than the source was seen to give clean, and may clip in these peaks",
                        tone_dbfs, std::abs(setting.allowance_db + tone_dbfs) < kPlainLevel_db
                                       ? std::string("the target output")
                                       : fmt::format("{:.1f} dB {} than the target output", std::abs(setting.allowance_db + tone_dbfs),
                                                     setting.allowance_db + tone_dbfs > 0 ? "more" : "less"),
                        as_played_v, full_scale_v, -tone_dbfs));
    if (!setting.target_output_v) return;
    setting.gain_db = decibels_from_amplitude(*setting.target_output_v / *setting.sensitivity_v);
    setting.dial_sensitivity_v = *setting.sensitivity_v * *setting.rated_output_v / *setting.target_output_v;
    if (!(setting.allowance_db > 0)) return;
    FullScalePassage passage;
    const double over_target_db = setting.allowance_db,
                 room_db = decibels_from_amplitude(*setting.rated_output_v / *setting.target_output_v);
    passage.over_rails_db = std::max(0.0, over_target_db - room_db);
    const ClippedSine cut = clip_sine(passage.over_rails_db);
    passage.thd_percent = 100.0 * cut.thd_ratio;
    const double load_ohm = *the.amplifier.load_ohm;
    passage.power_asked_w = *setting.target_output_v * *setting.target_output_v / load_ohm * power_from_decibels(over_target_db);
    passage.power_out_w = passage.over_rails_db > 0 ? *the.amplifier.power_w * cut.power_ratio : passage.power_asked_w;
    setting.full_scale = passage;
    note_speaker(the, passage, setting);
}

void place_on_dial(AmplifierCase& the, AmplifierSetting& setting) {
    if (!setting.dial_sensitivity_v && !setting.sensitivity_v) return;
    const auto& ends = the.amplifier.sensitivity_v;
    if (!ends) return;
    const auto [low_v, high_v] = std::minmax((*ends)[0], (*ends)[1]);
    if (!(low_v > 0)) return;
    const double wanted_v = setting.dial_sensitivity_v.value_or(*setting.sensitivity_v);
    const bool too_little_source = wanted_v < low_v, too_much_source = wanted_v > high_v;
    if (!too_little_source && !too_much_source) {
        DialPlace place;
        place.law = the.amplifier.dial_law.value_or(DialLaw::logarithmic);
        place.law_assumed = !the.amplifier.dial_law;
        const auto travel = dial_travel(place.law, low_v, high_v, wanted_v);
        if (!travel) return;  // an amplifier with one sensitivity has no dial
        place.travel = *travel;
        place.turn_deg = the.amplifier.dial_turn_deg.value_or(kUsualDialTurn_deg);
        place.turn_assumed = !the.amplifier.dial_turn_deg;
        place.clock_hours = dial_clock_hours(*travel, place.turn_deg);
        if (const auto& marks = the.amplifier.dial_marks) place.mark = (*marks)[0] + *travel * ((*marks)[1] - (*marks)[0]);
        setting.dial = place;
        return;
    }
    const double end_v = too_little_source ? low_v : high_v;
    const double apart_db = std::abs(decibels_from_amplitude(end_v / wanted_v));
    if (!setting.gain_db) return;
    setting.gain_reached_db = decibels_from_amplitude(*setting.rated_output_v / end_v);
    const double most_v = *setting.sensitivity_v * amplitude_from_decibels(*setting.gain_reached_db);
    setting.reached_output_v = std::min(most_v, *setting.target_output_v);
    setting.reached_power_w = *setting.reached_output_v * *setting.reached_output_v / *the.amplifier.load_ohm;
    if (too_little_source) {
        setting.notes.push_back(
            fmt::format("outside the amplifier's range {:g} to {:g} V: at {} it still falls {:.1f} dB short of its target and reaches {:.1f} V, "
                        "{:.0f} W of {:.0f} W. "
                        "Leave it there, or get {:.1f} dB more to its input: a source with more output, or a line driver",
                        low_v, high_v, least_or_most(true), apart_db, *setting.reached_output_v, *setting.reached_power_w,
                        *setting.target_output_v * *setting.target_output_v / *the.amplifier.load_ohm, apart_db));
        return;
    }
    const auto volume = highest_volume_below(*the.loudest, the.feed->v / the.to_input * amplitude_from_decibels(-apart_db));
    setting.notes.push_back(fmt::format(
        "outside the amplifier's range {:g} to {:g} V: even at {} it reaches its target before the source reaches its ceiling; stay {:.1f} dB "
        "below the "
        "ceiling{}, or put a pad of {:.0f} dB before its input",
        low_v, high_v, least_or_most(false), apart_db, volume ? fmt::format(" (volume {:g} at most)", *volume) : "", std::ceil(apart_db)));
}

}  // namespace hushtrace
