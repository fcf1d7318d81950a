#include <fmt/format.h>

#include <algorithm>

#include "floor_record_words.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/report/wording.hpp"
#include "lines.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kNameWidth = 35, kCell = 15, kAcross = 3, kLinesTold = 4;

std::string right(const std::string& text, std::size_t columns) {
    const std::size_t width = display_width(text);
    return std::string(columns - std::min(columns, width), ' ') + text;
}

/// The figures, so many channels side by side as there is room for.
void tell_table(Lines& lines, const ConditionFloor& condition) {
    const std::vector<FloorRow> rows = floor_rows(condition);
    for (std::size_t from = 0; from < condition.channels.size(); from += kAcross) {
        const std::size_t to = std::min(condition.channels.size(), from + kAcross);
        std::string head(kNameWidth, ' ');
        for (std::size_t c = from; c < to; ++c) head += right(spaced(to_word(condition.channels[c].channel)), kCell);
        lines.row(head, 0);
        for (const FloorRow& row : rows) {
            std::string text;
            for (std::size_t c = from; c < to; ++c) text += right(row.cells[c], kCell);
            if (display_width(row.name) < kNameWidth)
                lines.row(padded(row.name, kNameWidth) + text, 0);
            else {
                lines.add(row.name);
                lines.row(std::string(kNameWidth, ' ') + text, 0);
            }
        }
    }
}

void tell_lines(Lines& lines, const ConditionFloor& condition) {
    for (const ChannelFloor& channel : condition.channels) {
        if (channel.lines.empty()) continue;
        lines.add(fmt::format("strongest lines, {}:", spaced(to_word(channel.channel))));
        for (std::size_t i = 0; i < std::min(kLinesTold, channel.lines.size()); ++i) lines.add(line_text(channel.lines[i]), 2, "- ");
    }
}

}  // namespace

std::string floor_record_text(const OpenedJob& opened, const FloorRecord& record) {
    Lines lines;
    lines.title("Noise floor: " + (opened.job.title.empty() ? std::string("untitled job") : opened.job.title));
    if (record.conditions.empty())
        lines.add("No floor to tell: it wants a take at the amplifier's input, normal hookup, source on, nothing playing.");
    else
        lines.add("20 Hz to 20 kHz at the amplifier's input; ± is two standard uncertainties; ≤ and ≥: bounds, the interface's own noise or "
                  "what was not followed hides more; ~: a longer take would narrow it.");
    for (const ConditionFloor& condition : record.conditions) {
        lines.title(capital(condition.name));
        lines.add(condition_facts(condition));
        tell_table(lines, condition);
        tell_lines(lines, condition);
        for (const std::string& note : floor_notes(condition)) lines.add(note, 0, "* ");
    }
    if (!record.acceptance.empty()) {
        lines.title("Against the limits");
        lines.add(verdict_summary(record) + ". Only a limit written in job.json can fail the job; a proposal has no source.");
        for (const FloorVerdictRow& row : verdict_rows(record)) {
            lines.add(fmt::format("{}: {}", row.verdict, row.what), 0, "- ");
            lines.add(fmt::format("{}; asked: {}", row.found.empty() ? "nothing found" : row.found, row.asked), 2);
        }
    }
    if (!record.gaps.empty()) {
        lines.title("What is missing");
        for (const FloorGap& one : record.gaps) {
            lines.add(one.text, 0, "- ");
            if (!one.command.empty()) lines.add(one.command, 4);
        }
    }
    return lines.text();
}

}  // namespace hushtrace
