#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <limits>

#include "hushtrace/diagnose/loudness.hpp"
#include "hushtrace/report/level_picture.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

constexpr double kNoGap_db = 0.05;  // what one decimal can't show
constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

bool finite(const std::optional<double>& value) { return value && std::isfinite(*value); }

std::optional<double> dbv(const std::optional<double>& volts) {
    return finite(volts) && *volts > 0 ? std::optional(decibels_from_amplitude(*volts)) : std::nullopt;
}
double sd_db(const std::optional<double>& volts, const std::optional<double>& sd) {
    return finite(volts) && finite(sd) && *volts > 0 ? decibels_from_amplitude(1.0 + *sd / *volts) : 0.0;
}
double sum_db(double a_db, double b_db) { return decibels_from_power(power_from_decibels(a_db) + power_from_decibels(b_db)); }

const AmplifierData* described(const Job& job, const std::string& name) {
    for (const AmplifierData& one : job.amplifiers)
        if (one.name == name) return &one;
    return nullptr;
}

/// The lowest voltage that one of the amplifier's speakers bears by its rated power.
std::optional<double> speaker_limit_v(const Job& job, const AmplifierData& amplifier) {
    std::optional<double> lowest;
    for (const SpeakerData& one : job.speakers) {
        const auto ohm = one.impedance_ohm ? one.impedance_ohm : amplifier.load_ohm;
        if (one.amplifier != amplifier.name || !finite(one.power_w) || !finite(ohm) || *one.power_w <= 0 || *ohm <= 0) continue;
        const double volts = std::sqrt(*one.power_w * *ohm);
        lowest = std::min(volts, lowest.value_or(volts));
    }
    return lowest;
}

void put_source(LevelStage& stage, const AmplifierSetting& one, const ConverterData* converter, bool has_ceiling) {
    const auto& volts = converter && one.converter_input_v ? one.converter_input_v : one.input_v_at_ceiling;
    if (has_ceiling) {
        stage.highest_db = converter && !one.converter_input_v ? std::nullopt : dbv(volts);
        stage.highest_sd_db = sd_db(one.input_v_at_ceiling, one.input_v_at_ceiling_sd);
    }
    stage.limit_db = converter ? dbv(converter->max_input_v) : std::nullopt;
    stage.limit_name = "converter's input";
    if (!stage.highest_db) stage.unknown = has_ceiling ? "its level in volts (calibrate)" : "its ceiling (a stepped take)";
    if (!one.noise_parts || (converter && !converter->loss_db)) return;
    // its own noise at the amplifier's input, ahead of and behind its volume control; the lead's is the next stage's
    const NoiseParts& parts = *one.noise_parts;
    const double before = parts.before_volume.high, after = parts.after_volume.high;
    if (!std::isfinite(before) && !std::isfinite(after)) return;
    stage.floor_db = std::min(sum_db(before, after), parts.total_dbv) + (converter ? *converter->loss_db : 0.0);
    stage.floor_sd_db = parts.sd_db;
    const double told = sum_db(parts.before_volume.low, parts.after_volume.low);
    stage.floor_at_most = !std::isfinite(told) || sum_db(before, after) - told > 0.3 || parts.limited_by == LimitedBy::interface;
}

void put_lead(LevelStage& stage, const AmplifierSetting& one, const ConverterData* converter, bool has_ceiling) {
    if (has_ceiling) stage.highest_db = dbv(one.input_v_at_ceiling);
    stage.highest_sd_db = sd_db(one.input_v_at_ceiling, one.input_v_at_ceiling_sd);
    stage.limit_db = converter ? dbv(converter->max_output_v) : std::nullopt;
    stage.limit_name = "converter's output";
    if (!one.noise_parts) {
        stage.unknown = "its noise (a calibrated noise take)";
        return;
    }
    stage.floor_db = one.noise_parts->total_dbv;
    stage.floor_sd_db = one.noise_parts->sd_db;
    stage.floor_at_most = one.noise_parts->limited_by == LimitedBy::interface;
}

void put_input(LevelStage& stage, const LevelStage& lead, const AmplifierSetting& one, double gain_db) {
    stage = LevelStage{"amplifier's input", false, lead.highest_db, lead.highest_sd_db, lead.floor_db, lead.floor_sd_db, lead.floor_at_most, false,
                       {}, "rated output", lead.unknown};
    if (const auto rated = dbv(one.rated_output_v); rated && std::isfinite(gain_db)) stage.limit_db = *rated - gain_db;
    if (!stage.floor_db) return;
    if (one.noise_parts->amplifier_dbv && std::isfinite(*one.noise_parts->amplifier_dbv))
        stage.floor_db = sum_db(*stage.floor_db, *one.noise_parts->amplifier_dbv);
    else
        stage.floor_at_least = !stage.floor_at_most;
}

void put_output(LevelStage& stage, const LevelStage& input, const AmplifierSetting& one, double gain_db) {
    stage.limit_db = dbv(one.rated_output_v);
    stage.limit_name = "rated output";
    if (input.highest_db && std::isfinite(gain_db)) {
        // what comes in at the ceiling, but no more than the rated output gives clean
        stage.highest_db = std::min(*input.highest_db + gain_db, stage.limit_db.value_or(*input.highest_db + gain_db));
        stage.highest_sd_db = input.highest_sd_db;
    }
    if (finite(one.noise_at_output_dbv)) {
        stage.floor_db = one.noise_at_output_dbv;
        stage.floor_sd_db = one.noise_sd_db.value_or(0);
        stage.floor_at_most = input.floor_at_most;
        stage.floor_at_least = input.floor_at_least;
    }
    if (!std::isfinite(gain_db))
        stage.unknown = one.refused ? "its gain (none is given, see above)" : "its gain (power_w and load_ohm of the amplifier)";
}

void put_ear(LevelStage& stage, const LevelStage& speaker, const Job& job, const AmplifierData* amplifier) {
    stage.at_ear = true;
    const auto at_ear = [&](const std::optional<double>& level) {
        return level && amplifier ? at_ear_db_spl(job, *amplifier, *level) : std::nullopt;
    };
    stage.highest_db = at_ear(speaker.highest_db);
    stage.floor_db = at_ear(speaker.floor_db);
    stage.highest_sd_db = std::hypot(speaker.highest_sd_db, kSpeakerSd_db);
    stage.floor_sd_db = std::hypot(speaker.floor_sd_db, kSpeakerSd_db);
    stage.floor_at_most = speaker.floor_at_most;
    stage.floor_at_least = speaker.floor_at_least;
    if (!stage.highest_db && !stage.floor_db)
        stage.unknown = speaker.highest_db || speaker.floor_db ? "the speaker's sensitivity_db_2v83_1m" : "what the speaker gets";
}

LevelDiagram diagram_of(const Job& job, const GainAnalysis& gain, const AmplifierSetting& one) {
    LevelDiagram diagram;
    diagram.amplifier = one.name;
    const AmplifierData* amplifier = described(job, one.name);
    const ConverterData* converter = amplifier && amplifier->converter ? &*amplifier->converter : nullptr;
    const bool has_ceiling = gain.ceiling_usable();
    const double gain_db = one.gain_reached_db.value_or(one.gain_db.value_or(kUnknown));
    LevelStage source, lead, input, output, speaker, ear;
    source.name = one.volume ? fmt::format("source at volume {:g}", *one.volume) : "source at its ceiling";
    put_source(source, one, converter, has_ceiling);
    lead.name = converter ? "converter's output" : "end of the lead";
    put_lead(lead, one, converter, has_ceiling);
    put_input(input, lead, one, gain_db);
    output.name = "amplifier's output";
    put_output(output, input, one, gain_db);
    speaker = output;
    speaker.name = "speaker";
    speaker.limit_db = amplifier ? dbv(speaker_limit_v(job, *amplifier)) : std::nullopt;
    speaker.limit_name = "speaker's rated power";
    ear.name = "ear";
    put_ear(ear, speaker, job, amplifier);
    diagram.stages = {source, lead, input, output, speaker, ear};
    if (one.noise_parts && !one.noise_parts->takes.empty()) {
        diagram.floors_from = fmt::format("Noise from {}, engine {}", one.noise_parts->takes.front(), spaced(to_word(one.noise_parts->engine)));
        if (one.noise_parts->volume) diagram.floors_from += fmt::format(", source at volume {:g}", *one.noise_parts->volume);
    }
    return diagram;
}

std::string level(double db, bool at_ear, double spread_db) {
    return at_ear ? fmt::format("{:.0f} dB SPL{}", db, spread_text(spread_db))
                  : fmt::format("{:.1f} dBV ({}){}", db, volts_text(amplitude_from_decibels(db)), spread_text(spread_db));
}

}  // namespace

std::optional<double> LevelStage::room_db() const {
    return highest_db && floor_db ? std::optional(*highest_db - *floor_db) : std::nullopt;
}
std::optional<double> LevelStage::headroom_db() const {
    if (!highest_db || !limit_db) return std::nullopt;
    const double gap = *limit_db - *highest_db;
    return std::abs(gap) < kNoGap_db ? 0.0 : gap;
}

std::vector<LevelDiagram> level_diagrams(const Job& job, const GainAnalysis& gain) {
    std::vector<LevelDiagram> out;
    for (const AmplifierSetting& one : gain.amplifiers) out.push_back(diagram_of(job, gain, one));
    return out;
}

bool has_levels(const LevelDiagram& diagram) {
    return std::any_of(diagram.stages.begin(), diagram.stages.end(), [](const LevelStage& one) { return one.highest_db || one.floor_db; });
}

std::vector<std::string> level_words(const LevelDiagram& diagram) {
    std::vector<std::string> out;
    for (const LevelStage& one : diagram.stages) {
        std::string text = one.name + ": ";
        text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
        text += one.highest_db ? "clean up to " + level(*one.highest_db, one.at_ear, one.highest_sd_db) : "highest clean level not known";
        text += one.floor_db ? fmt::format("; noise {}{}", one.floor_at_most ? "at most " : one.floor_at_least ? "at least " : "",
                                           level(*one.floor_db, one.at_ear, one.floor_sd_db))
                             : "; noise not known";
        if (const auto room = one.room_db())
            text += fmt::format("; {} {:.0f} dB between them", one.floor_at_most ? "at least" : one.floor_at_least ? "at most" : "about", *room);
        if (const auto headroom = one.headroom_db())
            text += *headroom >= 0 ? fmt::format("; {} lies {:.1f} dB above", one.limit_name, *headroom)
                                   : fmt::format("; {} is overdriven by {:.1f} dB", one.limit_name, -*headroom);
        if (!one.unknown.empty()) text += "; missing: " + one.unknown;
        out.push_back(text + ".");
    }
    if (!diagram.floors_from.empty()) out.push_back(diagram.floors_from + ".");
    return out;
}

}  // namespace hushtrace
