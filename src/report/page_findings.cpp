#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

constexpr std::size_t kDetailed = 12;  // findings told in full, the others in a table
constexpr std::size_t kLevelRows = 8, kFacts = 6;

std::string facts(const std::vector<Evidence>& evidence, const char* lead) {
    std::string list;
    for (std::size_t i = 0; i < std::min(kFacts, evidence.size()); ++i)
        list += fmt::format("<li>{}{}</li>\n", lead, isolated(shortened(evidence_text(evidence[i]), kCellColumns)));
    return list;
}

std::string entry_paths(const NoiseAnalysis& analysis, const std::string& source_id) {
    std::string out;
    for (const EntryPath& one : analysis.entry_paths) {
        if (one.source_id != source_id || one.probability < 0.05) continue;
        out += fmt::format("<li>{}: <b>{:.0f} %</b>", isolated(path_text(one)), 100.0 * one.probability);
        const std::string reasons =
            facts(one.evidence_for, "For: ") + facts(one.evidence_against, "Against: ");
        if (!reasons.empty()) out += "\n<ul class=\"soft\">\n" + reasons + "</ul>";
        out += "</li>\n";
    }
    return out.empty() ? out : "<p>Where it gets in:</p>\n<ul>\n" + out + "</ul>\n";
}

const EntryPath* likeliest_path(const NoiseAnalysis& analysis, const std::string& source_id) {
    const EntryPath* best = nullptr;
    for (const EntryPath& one : analysis.entry_paths)
        if (one.source_id == source_id && (!best || one.probability > best->probability)) best = &one;
    return best;
}

std::string levels(const NoiseSource& source) {
    if (source.levels.size() < 2) return "";
    std::string rows;
    for (std::size_t i = 0; i < std::min(kLevelRows, source.levels.size()); ++i) {
        const LevelInTake& one = source.levels[i];
        rows += fmt::format(
            "<tr><th scope=\"row\">{}</th>{}{}</tr>\n", isolated(one.take),
            cell(spaced(to_word(one.channel)), "channel"),
            cell(level_text(one.level_dbfs, one.level_dbv) + spread_text(one.dbv_sd_db.value_or(one.sd_db)) +
                     limit_text(one.limited_by),
                 "level"));
    }
    std::string more;
    if (source.levels.size() > kLevelRows)
        more = fmt::format("<p class=\"soft\">and {} more in the data file</p>\n",
                           source.levels.size() - kLevelRows);
    return table({"take", "channel", "level"}, rows) + more;
}

std::string finding(const NoiseAnalysis& analysis, const NoiseSource& source, std::size_t number) {
    std::string out =
        fmt::format("<li><span class=\"number\">{}</span>\n<h3>{}</h3>\n", number, isolated(headline(source)));
    out += "<p>";
    if (source.kind != NoiseKind::heard_only)
        out += fmt::format("<span class=\"level\">{}</span> · ",
                           isolated(level_text(source.level_dbfs, source.level_dbv)));
    out += isolated(confidence_text(source.confidence));
    if (!source.channels.empty()) out += " · " + isolated(channels_text(source.channels));
    if (source.engine_order)
        out += fmt::format(" · {} lines per crankshaft turn", figures_text(*source.engine_order, 4));
    if (source.frequency_hz && source.frequency_sd_hz)
        out += fmt::format(" · frequency ±{} Hz", figures_text(2.0 * *source.frequency_sd_hz, 2));
    if (source.clipped_share)
        out += fmt::format(" · {} % of the samples at the limit",
                           figures_text(100.0 * *source.clipped_share, 2));
    out += "</p>\n";
    if (source.loudness && !source.loudness->text.empty())
        out += fmt::format("<p>How loud: {}.</p>\n", isolated(source.loudness->text));
    const std::string list = facts(source.evidence, "");
    if (!list.empty()) out += "<ul>\n" + list + "</ul>\n";
    return out + entry_paths(analysis, source.id) + levels(source) + "</li>\n";
}

}  // namespace

std::string in_short(const Analyses& analyses) {
    std::string out;
    const auto add = [&](const std::string& text) { out += fmt::format("<li>{}</li>\n", isolated(text)); };
    if (analyses.noise) {
        const NoiseAnalysis& noise = *analyses.noise;
        for (std::size_t i = 0; i < std::min<std::size_t>(3, noise.noise_sources.size()); ++i) {
            const NoiseSource& one = noise.noise_sources[i];
            std::string text = headline(one);
            if (one.kind != NoiseKind::heard_only)
                text += ", " + short_level_text(one.level_dbfs, one.level_dbv);
            text += ": " + confidence_text(one.confidence) + ".";
            const EntryPath* path = likeliest_path(noise, one.id);
            if (path && path->probability >= 0.5) text += " It gets in by: " + path_text(*path) + ".";
            add(text);
        }
        if (noise.noise_sources.size() > 3)
            add(fmt::format("{} findings in all.", noise.noise_sources.size()));
        if (noise.noise_sources.empty()) add("No noise was found above the floor.");
        if (!noise.actions.empty()) add("Do first: " + noise.actions.front().action);
    }
    if (analyses.gain) add(analyses.gain->ceiling_text);
    return out.empty()
               ? out
               : "<section class=\"short\" aria-label=\"In short\">\n<ul>\n" + out + "</ul>\n</section>\n";
}

std::string findings(const NoiseAnalysis& analysis) {
    std::string out = "<section>\n<h2>What was found</h2>\n";
    if (analysis.noise_sources.empty())
        return out +
               fmt::format("<p class=\"lead\">Nothing found above the floor in {} {}.</p>\n</section>\n",
                           analysis.takes.size(), analysis.takes.size() == 1 ? "take" : "takes");
    if (lacks_calibration(analysis))
        out +=
            "<p class=\"soft\">Not calibrated: levels are in dBFS and can't be compared between "
            "set-ups.</p>\n";
    const std::size_t count = analysis.noise_sources.size();
    const std::size_t told = std::min(kDetailed, count);
    out += "<ol class=\"plain\">\n";
    for (std::size_t i = 0; i < told; ++i) out += finding(analysis, analysis.noise_sources[i], i + 1);
    out += "</ol>\n";
    if (const std::string unsure = unsure_text(analysis); !unsure.empty()) out += "<p class=\"soft\">" + isolated(unsure) + "</p>\n";
    if (count > told) out += fmt::format("<p>{} more are listed under Further findings.</p>\n", count - told);
    return out + "</section>\n";
}

std::string further_findings(const NoiseAnalysis& analysis) {
    if (analysis.noise_sources.size() <= kDetailed) return "";
    std::string rows;
    for (std::size_t i = kDetailed; i < analysis.noise_sources.size(); ++i) {
        const NoiseSource& one = analysis.noise_sources[i];
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}</tr>\n", i + 1, cell(headline(one), "what"),
                            cell(short_level_text(one.level_dbfs, one.level_dbv), "level"),
                            cell(confidence_text(one.confidence), "how sure"));
    }
    return "<section>\n<h2>Further findings</h2>\n" + table({"number", "what", "level", "how sure"}, rows) +
           "</section>\n";
}

std::string actions(const NoiseAnalysis& analysis) {
    if (analysis.actions.empty()) return "";
    std::string out = "<section>\n<h2>What to do</h2>\n<ol class=\"plain actions\">\n";
    std::size_t number = 0;
    for (const Action& one : analysis.actions) {
        out +=
            fmt::format("<li><span class=\"number\">{}</span>\n<p class=\"does\">{}</p>\n", ++number, isolated(one.action));
        if (one.expected_change_db)
            out += fmt::format("<p class=\"expect\">Expect: {}</p>\n",
                               change_text(*one.expected_change_db, one.sd_db));
        if (!one.why.empty()) out += fmt::format("<p>{}</p>\n", isolated(one.why));
        for (std::size_t i = 0; i < analysis.noise_sources.size(); ++i)
            if (analysis.noise_sources[i].id == one.source_id)
                out += fmt::format("<p class=\"soft\">about finding {}: {}</p>\n", i + 1,
                                   isolated(headline(analysis.noise_sources[i])));
        out += "</li>\n";
    }
    return out + "</ol>\n</section>\n";
}

std::string health(const NoiseAnalysis& analysis) {
    if (analysis.health.empty()) return "";
    std::string out = "<section>\n<h2>Health</h2>\n<ul class=\"notes\">\n";
    for (const HealthFinding& one : analysis.health)
        out += fmt::format("<li><b>{}</b>, {}. {}</li>\n", isolated(fault_text(one.fault)),
                           confidence_text(one.confidence), isolated(one.why));
    return out + "</ul>\n</section>\n";
}

}  // namespace hushtrace::page
