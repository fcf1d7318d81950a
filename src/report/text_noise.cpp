#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/report/wording.hpp"
#include "engine_lines.hpp"
#include "lines.hpp"
#include "text_entry.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kDetailed = 12;  // findings told in full; the others get a line each
constexpr std::size_t kEvidence = 3;   // facts told a finding

/// The likeliest ways in, with what speaks for and against the first; nothing where no test has told anything yet.
void tell_paths(Lines& lines, const NoiseAnalysis& analysis, const std::string& source_id, std::size_t indent) {
    constexpr double likely = 0.2;
    bool first = true;
    for (const EntryPath& path : analysis.entry_paths) {
        if (path.source_id != source_id || path.probability < likely) continue;
        lines.add(fmt::format("gets in by {}: {:.0f} %", path_text(path), 100.0 * path.probability), indent, "> ");
        if (!first) continue;
        first = false;
        for (std::size_t i = 0; i < std::min(kEvidence, path.evidence_for.size()); ++i)
            lines.add("for it: " + evidence_text(path.evidence_for[i]), indent + 2, "- ");
        for (std::size_t i = 0; i < std::min(kEvidence, path.evidence_against.size()); ++i)
            lines.add("against it: " + evidence_text(path.evidence_against[i]), indent + 2, "- ");
    }
}

void tell_source(Lines& lines, const NoiseAnalysis& analysis, const NoiseSource& source, std::size_t number) {
    const std::string bullet = fmt::format("{}. ", number);
    const std::size_t indent = bullet.size();
    std::string head = headline(source);
    const LevelInTake* level = loudest_level(source);
    if (source.kind != NoiseKind::heard_only) head += ": " + level_text(source.level_dbfs, source.level_dbv);
    if (level) head += spread_text(level->dbv_sd_db.value_or(level->sd_db)) + limit_text(level->limited_by);
    lines.add(head, 0, bullet);
    std::string where = confidence_text(source.confidence);
    if (!source.channels.empty()) where += "; " + channels_text(source.channels);
    if (level) where += "; loudest in " + level->take;
    lines.add(where, indent);
    if (source.loudness && !source.loudness->text.empty()) lines.add(source.loudness->text, indent);
    if (source.engine_order) lines.add(order_text(source), indent);
    if (source.clipped_share)
        lines.add(fmt::format("{} % of the samples sit at the limit",
                              figures_text(100.0 * *source.clipped_share, 2)),
                  indent);
    for (std::size_t i = 0; i < std::min(kEvidence, source.evidence.size()); ++i)
        lines.add(evidence_text(source.evidence[i]), indent, "- ");
    tell_paths(lines, analysis, source.id, indent);
}

void tell_sources(Lines& lines, const NoiseAnalysis& analysis) {
    if (analysis.noise_sources.empty()) lines.add("Nothing found above the floor.");
    for (std::size_t i = 0; i < analysis.noise_sources.size(); ++i) {
        const NoiseSource& source = analysis.noise_sources[i];
        if (i < kDetailed) {
            tell_source(lines, analysis, source, i + 1);
        } else {
            if (i == kDetailed) lines.add("Also:");
            lines.add(fmt::format("{}: {}", headline(source),
                                  short_level_text(source.level_dbfs, source.level_dbv)),
                      0, fmt::format("{}. ", i + 1));
        }
    }
    if (const std::string unsure = unsure_text(analysis); !unsure.empty()) lines.add(unsure);
}

void tell_actions(Lines& lines, const NoiseAnalysis& analysis) {
    if (analysis.actions.empty()) return;
    lines.title("What to do");
    std::size_t number = 0;
    for (const Action& one : analysis.actions) {
        const std::string bullet = fmt::format("{}. ", ++number);
        lines.add(one.action, 0, bullet);
        if (one.expected_change_db)
            lines.add("Expect: " + change_text(*one.expected_change_db, one.sd_db), bullet.size());
        if (!one.why.empty()) lines.add("Why: " + one.why, bullet.size());
    }
}

/// A figure in eight columns, without its unit; '-' where there is none, '~' before one that a longer take would narrow.
std::string column(const FloorFigure& figure) {
    const auto& level = figure.dbv ? figure.dbv : figure.dbfs;
    if (!level || !std::isfinite(level->value)) return fmt::format("{:>8}", "-");
    return fmt::format("{:>8}", fmt::format("{}{:.1f}", level->limited_by == LimitedBy::length ? "~" : "", level->value));
}
bool wants_length(const FloorReading& one) {
    const auto wants = [](const FloorFigure& figure) { return column(figure).find('~') != std::string::npos; };
    return wants(one.unweighted) || wants(one.broadband) || wants(one.a_weighted) || wants(one.c_weighted) ||
           wants(one.itu468) || wants(one.itu468_quasi_peak);
}
/// The uncertainty of the unweighted figure, as every figure of the row has about.
std::string spread(const FloorReading& one) {
    const auto& level = one.unweighted.dbv ? one.unweighted.dbv : one.unweighted.dbfs;
    return level && 2.0 * level->sd >= 0.1 ? fmt::format(" ±{:.1f}", 2.0 * level->sd) : "";
}

/// The strongest tones of a take's louder channel, on one line.
void tell_tones(Lines& lines, const std::vector<const FloorReading*>& channels) {
    const FloorReading* loudest = nullptr;
    for (const FloorReading* one : channels)
        if (!one->tones.empty() && (!loudest || one->tones.front().dbfs.value > loudest->tones.front().dbfs.value))
            loudest = one;
    if (!loudest) return;
    std::string text = fmt::format("tones, {}:", spaced(to_word(loudest->channel)));
    for (std::size_t i = 0; i < std::min<std::size_t>(3, loudest->tones.size()); ++i) {
        const FloorTone& tone = loudest->tones[i];
        text += fmt::format("{} {}{} {:.1f}{}", i > 0 ? "," : "", tone.wanders ? "about " : "",
                            frequency_text(tone.frequency_hz), tone.dbv ? tone.dbv->value : tone.dbfs.value,
                            tone.dbfs.limited_by == LimitedBy::noise ? " (near the noise)" : "");
    }
    lines.add(text, 2);
}

/// From 20 Hz to where the takes' rates let it reach.
std::string band_text(const std::vector<FloorReading>& floor) {
    double to_hz = 20000;
    for (const FloorReading& one : floor) to_hz = std::min(to_hz, one.to_hz);
    return fmt::format("20 Hz to {:g} kHz{}", to_hz / 1000, to_hz < 20000 ? " at the lowest rate" : "");
}

void tell_floor(Lines& lines, const NoiseAnalysis& analysis) {
    if (analysis.floor.empty()) return;
    lines.title("Noise floor, " + band_text(analysis.floor));
    lines.row("                     all no tones       A       C     468  468 qp", 0);
    bool volts = false, limited = false, taken_off = false, short_take = false;
    std::vector<const FloorReading*> channels;  // of one take
    for (std::size_t i = 0; i < analysis.floor.size(); ++i) {
        const FloorReading& one = analysis.floor[i];
        if (channels.empty()) lines.add(one.take + ":");
        channels.push_back(&one);
        const std::string channel = padded(spaced(to_word(one.channel)), 15);
        if (!one.unweighted.dbfs && !one.unweighted.dbv) {
            lines.row(channel + "digital silence", 2);
        } else {
            volts = volts || one.unweighted.dbv;
            limited = limited || one.limited_by_interface;
            short_take = short_take || wants_length(one);
            taken_off = taken_off || one.unweighted.interface_taken_off;
            lines.row(fmt::format("{}{}{}{}{}{}{} {}{}{}", channel, column(one.unweighted), column(one.broadband),
                                  column(one.a_weighted), column(one.c_weighted), column(one.itu468),
                                  column(one.itu468_quasi_peak), one.unweighted.dbv ? "dBV" : "dBFS", spread(one),
                                  one.limited_by_interface ? " *" : ""),
                      2);
        }
        if (i + 1 < analysis.floor.size() && analysis.floor[i + 1].take == one.take) continue;
        tell_tones(lines, channels);
        channels.clear();
    }
    if (limited) lines.add("* limited by the interface's own noise: the vehicle may be quieter");
    if (short_take) lines.add("~ limited by the take's length: more than ±1 dB; capture longer");
    if (taken_off) lines.add("The interface's own noise is taken off where it is known.");
    if (!volts) lines.add("Not calibrated: dBFS can't be compared between set-ups.");
}

}  // namespace

std::string noise_text(const OpenedJob& opened, const NoiseAnalysis& analysis) {
    Lines lines;
    const std::size_t takes = analysis.takes.size();
    lines.title(fmt::format("Noise: {} ({} {})", opened.job.title.empty() ? "untitled job" : opened.job.title,
                            takes, takes == 1 ? "take" : "takes"));
    tell_sources(lines, analysis);
    if (!analysis.health.empty()) {
        lines.title("Health");
        for (const HealthFinding& one : analysis.health)
            lines.add(
                fmt::format("{}: {}. {}", fault_text(one.fault), confidence_text(one.confidence), one.why), 0,
                "- ");
    }
    tell_engine(lines, analysis.engine);
    tell_entry(lines, analysis);
    tell_actions(lines, analysis);
    tell_floor(lines, analysis);
    const bool warned = std::any_of(analysis.warnings.begin(), analysis.warnings.end(),
                                    [](const Warning& one) { return one.code == "not_calibrated"; });
    if (lacks_calibration(analysis) && !warned) {
        lines.gap();
        lines.add("For levels in volts: hushtrace calibrate, with a known voltage on a meter.");
    }
    tell_warnings(lines, all_warnings(opened.warnings, analysis.warnings));
    return lines.text();
}

}  // namespace hushtrace
