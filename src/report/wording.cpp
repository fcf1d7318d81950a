#include "hushtrace/report/wording.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {
namespace {

struct Naming {
    std::string_view word, plain;
};
constexpr std::array<Naming, 10> kPaths = {{
    {"ground_loop", "ground loop"},
    {"cable_pickup", "pick-up along the signal lead"},
    {"source_supply", "the source's supply"},
    {"source_internal", "inside the source"},
    {"source_shield_open", "the source's burnt shell-to-case link"},
    {"contact", "a bad joint or plug"},
    {"antenna_lead", "the antenna lead"},
    {"amplifier_internal", "the amplifier, behind its input"},
    {"speaker_side", "the speaker side"},
    {"measuring_setup", "the measuring set-up itself"},
}};
constexpr std::array<Naming, 3> kMechanisms = {{
    {"loop", "magnetic, into the loop of shield and body"},
    {"lead", "magnetic, into the lead itself"},
    {"capacitive", "by electric field, from a wire close by"},
}};
constexpr std::array<Naming, 6> kFaults = {{
    {"diode_open", "an open diode in the alternator"},
    {"phase_open", "an open phase in the alternator"},
    {"phases_unbalanced", "the alternator's phases are unequal"},
    {"shell_link_open", "the source's shell-to-case link is open"},
    {"amplifier_ground_bad", "the amplifier's ground is bad"},
    {"charging_low", "the charging voltage is low"},
}};

template <std::size_t count>
std::string plain_word(const std::array<Naming, count>& names, std::string_view word) {
    for (const Naming& one : names)
        if (one.word == word) return std::string(one.plain);
    return clean_text(spaced(word));
}

std::string capitalised(std::string text) {
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
    return text;
}

/// A band's edge is a chosen number: "20 Hz", not "20.00 Hz".
std::string edge_text(double frequency_hz) {
    return frequency_hz < 1000.0 ? fmt::format("{:.4g} Hz", frequency_hz)
                                 : fmt::format("{:.4g} kHz", frequency_hz / 1000.0);
}

bool known(std::optional<double> value) {
    return value && std::isfinite(*value);
}

}  // namespace

std::string figures_text(double value, int figures) {
    if (!std::isfinite(value)) return "unknown";
    if (value == 0.0) return "0";
    const int magnitude = static_cast<int>(std::floor(std::log10(std::fabs(value))));
    const int decimals = figures - 1 - magnitude;
    if (decimals >= 0) {
        std::string text = fmt::format("{:.{}f}", value, decimals);
        // 9.9996 with four figures rounds up to 10.000, one figure too many
        const double read = std::stod(text);
        if (read != 0.0 && static_cast<int>(std::floor(std::log10(std::fabs(read)))) > magnitude)
            text = fmt::format("{:.{}f}", value, std::max(0, decimals - 1));
        return text;
    }
    const double step = std::pow(10.0, -decimals);
    return fmt::format("{:.0f}", std::round(value / step) * step);
}

std::string frequency_text(double frequency_hz) {
    if (!std::isfinite(frequency_hz)) return "unknown frequency";
    // the limit is where four figures would round up to 1000
    if (std::fabs(frequency_hz) < 999.95) return figures_text(frequency_hz, 4) + " Hz";
    return figures_text(frequency_hz / 1000.0, 4) + " kHz";
}

std::string volts_text(double volts) {
    const double size = std::fabs(volts);
    if (!std::isfinite(volts)) return "unknown voltage";
    if (size == 0.0) return "0 V";
    if (size < 0.9995e-3) return figures_text(volts * 1e6, 3) + " µV";
    if (size < 0.9995) return figures_text(volts * 1e3, 3) + " mV";
    return figures_text(volts, 3) + " V";
}

std::string harmonics_text(const StepCurve& curve) {
    if (curve.steps.empty()) return {};
    // Short steps hold too few cycles to tell many harmonics apart: the poorest step speaks.
    const VolumeStep& poorest =
        *std::min_element(curve.steps.begin(), curve.steps.end(), [](const VolumeStep& a, const VolumeStep& b) {
            return a.harmonics_counted < b.harmonics_counted;
        });
    std::string text = poorest.harmonics_counted == 0
                           ? "THD counts no harmonic"
                           : fmt::format("THD counts harmonics 2 to {}", poorest.harmonics_counted + 1);
    if (poorest.harmonics_missing > 0)
        text += fmt::format("; {} more below 20 kHz are missing", poorest.harmonics_missing);
    return text;
}

std::string distortion_text(double thd_percent) {
    if (thd_percent < 0.001) return "below 0.001 %";
    return figures_text(thd_percent, 2) + " %";
}

std::string distortion_text(double thd_percent, double sd_percent, LimitedBy limit) {
    if (limit == LimitedBy::noise) return "below " + figures_text(std::max(0.001, thd_percent + 2 * sd_percent), 2) + " % (noise)";
    std::string text = distortion_text(thd_percent);
    if (thd_percent < 0.001 || 2.0 * sd_percent < 0.05 * thd_percent) return text;
    return text + " ±" + figures_text(2.0 * sd_percent, 1) + " %";
}

std::string knee_text(const StepCurve& curve) {
    if (!curve.knee) return "";
    const Knee& knee = *curve.knee;
    if (!knee.dbfs)
        return fmt::format("distorts from {} on, but not by a rail",
                           knee.volume ? fmt::format("volume {:g}", *knee.volume) : fmt::format("step {}", knee.step));
    const std::string dbfs = fmt::format("{:.2f} dBFS", knee.dbfs->value);
    std::string text = knee.v ? fmt::format("{} ±{} % ({})", volts_text(knee.v->value),
                                            figures_text(200.0 * knee.v->sd / knee.v->value, 2), dbfs)
                              : dbfs + fmt::format(" ±{} dB", figures_text(2.0 * knee.dbfs->sd, 1));
    if (knee.kind == "limiter") return "a limiter holds it at " + text;
    if (knee.kind == "slew") return "can't follow the tone's slope above " + text;
    text = "clips at " + text + ": " + knee.kind;
    if (knee.sides == "both") text += ", both sides";
    if (knee.sides == "unequal") text += ", both sides, one before the other";
    if (knee.sides == "upper" || knee.sides == "lower") text += ", the " + knee.sides + " side alone";
    return text + limit_text(knee.dbfs->limited_by);
}

std::string short_level_text(std::optional<double> level_dbfs, std::optional<double> level_dbv) {
    if (known(level_dbv)) return fmt::format("{:.1f} dBV", *level_dbv);
    if (known(level_dbfs)) return fmt::format("{:.1f} dBFS", *level_dbfs);
    return "digital silence";
}

std::string level_text(std::optional<double> level_dbfs, std::optional<double> level_dbv) {
    const std::string level = short_level_text(level_dbfs, level_dbv);
    if (known(level_dbv)) return fmt::format("{} ({})", level, volts_text(volts_from_dbv(*level_dbv)));
    return known(level_dbfs) ? level + " (not calibrated)" : level;
}

std::string spread_text(double sd_db) {
    if (!std::isfinite(sd_db) || 2.0 * sd_db < 0.05) return "";
    return fmt::format(" ±{:.1f} dB", 2.0 * sd_db);
}

std::string limit_text(LimitedBy limit) {
    switch (limit) {
        case LimitedBy::interface: return ", limited by the interface";
        case LimitedBy::length: return ", limited by the take's length";
        case LimitedBy::noise: return ", limited by noise";
        case LimitedBy::nothing: break;
    }
    return "";
}

std::string change_text(double change_db, std::optional<double> sd_db) {
    if (!std::isfinite(change_db)) return "change unknown";
    std::string text = std::fabs(change_db) < 0.5 ? std::string("no change")
                                                  : fmt::format("{:.0f} dB {}", std::fabs(change_db),
                                                                change_db < 0 ? "quieter" : "louder");
    if (known(sd_db)) text += fmt::format(" (±{:.0f})", std::max(1.0, *sd_db));
    return text;
}

std::string confidence_text(double confidence) {
    const char* word = confidence >= 0.9   ? "very likely"
                       : confidence >= 0.7 ? "likely"
                       : confidence >= 0.4 ? "possible"
                                           : "a guess";
    return fmt::format("{} ({:.0f} %)", word, 100.0 * std::clamp(confidence, 0.0, 1.0));
}

std::string channels_text(const std::vector<Channel>& channels) {
    std::string text;
    for (std::size_t i = 0; i < channels.size(); ++i) {
        if (i > 0) text += i + 1 == channels.size() ? " and " : ", ";
        text += spaced(to_word(channels[i]));
    }
    return text;
}

std::string headline(const NoiseSource& source) {
    std::string text = capitalised(std::string(plain_name(source.kind)));
    if (source.band_hz)
        return fmt::format("{}, {} to {}", text, edge_text(source.band_hz->first),
                           edge_text(source.band_hz->second));
    if (known(source.frequency_hz))
        return fmt::format("{} at {}", text, frequency_text(*source.frequency_hz));
    return text;
}

std::string unsure_text(const NoiseAnalysis& analysis) {
    if (analysis.unsure.empty()) return {};
    constexpr std::size_t most = 5;
    std::string places;
    for (std::size_t i = 0; i < std::min(most, analysis.unsure.size()); ++i) {
        const NoiseSource& one = analysis.unsure[i];
        if (!known(one.frequency_hz)) continue;
        places += (places.empty() ? "" : ", ") + frequency_text(*one.frequency_hz);
    }
    if (analysis.unsure.size() > most) places += fmt::format(" and {} more", analysis.unsure.size() - most);
    return fmt::format("Not told as noise of its own: faint trace{} at {}. Chance, or part of something louder.",
                       analysis.unsure.size() == 1 ? "" : "s", places.empty() ? "places unknown" : places);
}

std::string path_text(const EntryPath& path) {
    std::string text;
    for (const std::string& one : path.paths) {
        if (!text.empty()) text += " together with ";
        text += plain_word(kPaths, one);
    }
    if (text.empty()) text = "not known";
    if (path.mechanism) text += fmt::format(" ({})", plain_word(kMechanisms, *path.mechanism));
    return text;
}

std::string fault_text(std::string_view fault) {
    return plain_word(kFaults, fault);
}

std::string evidence_text(const Evidence& evidence) {
    std::string text = clean_text(evidence.text);
    const bool has_figure =
        std::any_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
    if (has_figure || evidence.unit.empty() || !std::isfinite(evidence.value)) return text;
    while (!text.empty() && (text.back() == '.' || text.back() == ' ')) text.pop_back();
    text += fmt::format(": {} {}", figures_text(evidence.value, 3), clean_text(evidence.unit));
    if (known(evidence.sd)) text += fmt::format(" (±{})", figures_text(*evidence.sd, 2));
    return text;
}

std::string conditions_text(const Conditions& conditions) {
    std::string text = "engine " + spaced(to_word(conditions.engine));
    if (conditions.rpm) text += fmt::format(" at {} rpm", figures_text(*conditions.rpm, 4));
    if (conditions.source) text += fmt::format(", source {}", spaced(to_word(*conditions.source)));
    if (conditions.volume) text += fmt::format(", volume {:g}", *conditions.volume);
    std::string leads;
    for (const Hookup one : conditions.hookup) leads += (leads.empty() ? "" : " + ") + spaced(to_word(one));
    if (!leads.empty()) text += ", lead " + leads;
    for (const std::string& load : conditions.loads) text += ", " + clean_text(spaced(load)) + " on";
    for (const AttachedDevice& one : conditions.attached)
        text += fmt::format(", {} attached (fed from: {})", clean_text(one.device),
                            spaced(to_word(one.powered_from)));
    if (conditions.laptop) text += fmt::format(", laptop on {}", spaced(to_word(*conditions.laptop)));
    return text;
}

bool lacks_calibration(const NoiseAnalysis& analysis) {
    const bool source = std::any_of(analysis.noise_sources.begin(), analysis.noise_sources.end(),
                                    [](const NoiseSource& one) { return one.level_dbfs && !one.level_dbv; });
    const bool floor = std::any_of(analysis.floor.begin(), analysis.floor.end(), [](const FloorReading& one) {
        return one.unweighted.dbfs && !one.unweighted.dbv;
    });
    return source || floor;
}

}  // namespace hushtrace
