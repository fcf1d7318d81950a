#include <fmt/format.h>

#include "floor_record_words.hpp"
#include "hushtrace/report/floor_picture.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

constexpr std::size_t kLinesTold = 5;
constexpr std::size_t kCaptionColumns = 200, kNoteColumns = 300, kNameColumns = 60;  // longer texts stand in the data

std::string figures_table(const ConditionFloor& condition) {
    std::vector<std::string> names;
    for (const ChannelFloor& one : condition.channels) names.push_back(spaced(to_word(one.channel)));
    std::vector<std::string_view> headings = {"figure"};
    for (const std::string& one : names) headings.push_back(one);
    std::string rows;
    for (const FloorRow& row : floor_rows(condition)) {
        const std::string name = row.name.starts_with("  ") ? "A-weighted," + row.name.substr(1) : row.name;
        rows += fmt::format("<tr><th scope=\"row\">{}</th>", escaped(name));
        for (std::size_t c = 0; c < row.cells.size(); ++c) rows += cell(row.cells[c], names[c]);
        rows += "</tr>\n";
    }
    return rows.empty() ? "" : table(headings, rows, shortened("From " + condition_facts(condition), kCaptionColumns));
}

std::string lines_list(const ConditionFloor& condition) {
    std::string out;
    for (const ChannelFloor& channel : condition.channels) {
        if (channel.lines.empty()) continue;
        out += fmt::format("<p>Strongest lines, {}:</p>\n<ul>\n", escaped(spaced(to_word(channel.channel))));
        for (std::size_t i = 0; i < std::min(kLinesTold, channel.lines.size()); ++i) out += "<li>" + escaped(line_text(channel.lines[i])) + "</li>\n";
        out += "</ul>\n";
    }
    const std::vector<std::string> notes = floor_notes(condition);
    if (notes.empty()) return out;
    out += "<ul class=\"soft notes\">\n";
    for (const std::string& one : notes) out += "<li>" + isolated(shortened(one, kNoteColumns)) + "</li>\n";
    return out + "</ul>\n";
}

std::string limits_table(const FloorRecord& record) {
    if (record.acceptance.empty()) return "";
    std::string rows;
    for (const FloorVerdictRow& row : verdict_rows(record))
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}</tr>\n", escaped(row.what), cell(row.found, "found"), cell(row.asked, "asked"),
                            cell(row.verdict, "verdict"));
    return "<h3 class=\"floor\">Against the limits</h3>\n<p>" + escaped(capital(verdict_summary(record))) + ".</p>\n" +
           table({"what", "found", "asked", "verdict"}, rows,
                 "The channel that keeps it worst; only a limit written in job.json can fail the job, a proposal has no source");
}

std::string bands_table(const FloorRecord& record, Channel channel) {
    const auto conditions = drawn_conditions(record, channel);
    std::vector<std::string> names;
    for (const ConditionFloor* one : conditions) names.push_back(shortened(clean_text(one->name), kNameColumns));
    std::vector<std::string_view> headings = {"band"};
    for (const std::string& one : names) headings.push_back(one);
    std::vector<const std::vector<FloorBand>*> bands;
    std::size_t most = 0;
    for (const ConditionFloor* one : conditions)
        for (const ChannelFloor& there : one->channels)
            if (there.channel == channel) {
                bands.push_back(&there.floor.third_octaves);
                most = std::max(most, bands.back()->size());
            }
    std::string rows;
    for (std::size_t i = 0; i < most; ++i) {
        std::string cells;
        double nominal_hz = 0;
        for (std::size_t c = 0; c < bands.size(); ++c) {
            if (i >= bands[c]->size()) {
                cells += cell("-", names[c]);
                continue;
            }
            const FloorBand& band = (*bands[c])[i];
            nominal_hz = band.nominal_hz;
            const auto& level = band.level.dbv ? band.level.dbv : band.level.dbfs;
            cells += cell(!level ? "-"
                                 : fmt::format("{}{:.1f} {}{}{}", level->limited_by == LimitedBy::interface ? "≤ " : "", level->value,
                                               band.level.dbv ? "dBV" : "dBFS", spread_text(level->sd), band.few_bins ? " (few bins)" : ""),
                          names[c]);
        }
        rows += fmt::format("<tr><th scope=\"row\">{:g} Hz</th>{}</tr>\n", nominal_hz, cells);
    }
    return fmt::format("<details>\n<summary>Thirds of octaves, {}, as a table</summary>\n{}</details>\n", escaped(spaced(to_word(channel))),
                       table(headings, rows, "Level in each band"));
}

std::string pictures(const FloorRecord& record) {
    std::string out;
    for (const Channel channel : drawn_channels(record)) {
        const std::string title = "Noise floor by thirds of octaves, " + spaced(to_word(channel)),
                          id = "thirds-" + std::string(to_word(channel));
        std::string caption = "<b>" + escaped(title) + ".</b>";
        for (const std::string& one : third_octave_words(record, channel)) caption += " " + escaped(capital(one));
        out += figure(third_octave_svg(record, channel, PictureSize::wide, id + "-w", title),
                      third_octave_svg(record, channel, PictureSize::narrow, id + "-n", title), caption);
        out += bands_table(record, channel);
    }
    return out.empty() ? "" : out + "<p class=\"soft\">" + escaped(bands_remark(record)) + "</p>\n";
}

std::string gaps_list(const FloorRecord& record) {
    if (record.gaps.empty()) return "";
    std::string items;
    for (const FloorGap& one : record.gaps)
        items += "<li>" + isolated(shortened(one.text, kNoteColumns)) + (one.command.empty() ? "" : " <code>" + escaped(one.command) + "</code>") +
                 "</li>\n";
    return "<h3 class=\"floor\">What the record lacks</h3>\n<ul>\n" + items + "</ul>\n";
}

}  // namespace

std::string floor_record(const FloorRecord& record) {
    if (record.conditions.empty()) return "";
    std::string out =
        "<section>\n<h2>How quiet it is</h2>\n<p class=\"soft\">At the amplifier's input, source on, nothing playing, 20 Hz to 20 kHz. "
        "Signal-to-noise is the loudest clean tone over the floor; the dynamic range left leaves the lines out. ± is two standard uncertainties; "
        "≤ and ≥: bounds, the interface's own noise or what was not followed hides more; ~: a longer take would narrow it.</p>\n";
    for (const ConditionFloor& condition : record.conditions)
        out += "<h3 class=\"floor\">" + isolated(shortened(capital(clean_text(condition.name)), kTitleColumns)) + "</h3>\n" +
               figures_table(condition) + lines_list(condition);
    return out + limits_table(record) + pictures(record) + gaps_list(record) + "</section>\n";
}

}  // namespace hushtrace::page
