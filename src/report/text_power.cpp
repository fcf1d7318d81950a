#include <fmt/format.h>

#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/report/wording.hpp"
#include "lines.hpp"
#include "supply_words.hpp"

namespace hushtrace {
namespace {

void tell_cable(Lines& lines, const PowerCable& one, double allowed_drop_v) {
    std::string head = fmt::format("{}: {:.0f} A", clean_text(one.part), one.current_a);
    if (one.area_mm2) head += fmt::format(", {}", supply_size_text(*one.area_mm2));
    if (one.length_m) head += fmt::format(", {:g} m", *one.length_m);
    lines.add(head + ": " + supply_verdict_text(one, allowed_drop_v));
    if (one.drop_v && one.resistance_ohm)
        lines.add(fmt::format("{:.2f} V lost at that current ({:.2f} mohm at {:g} C)", *one.drop_v, 1e3 * *one.resistance_ohm, one.temperature_c), 2);
    if (one.fuse_a) lines.add(fmt::format("fuse {:g} A{}", *one.fuse_a, one.part == "feed" ? " at the battery" : " at the block"), 2);
    if (one.smallest && one.verdict != CableVerdict::fits) lines.add("smallest of the table that does: " + one.smallest->name(), 2);
    for (const std::string& note : one.notes) lines.add(clean_text(note), 2);
}

void tell_reserve(Lines& lines, const AlternatorReserve& one) {
    lines.title("Alternator");
    lines.add(fmt::format("rated {:.0f} A; the vehicle about {:.0f} A, music about {:.0f} A on average", one.rated_a, one.vehicle_a, one.music_a));
    const auto say = [](double reserve_a) {
        return reserve_a >= 0 ? fmt::format("{:.0f} A left", reserve_a) : fmt::format("{:.0f} A short: the battery drains", -reserve_a);
    };
    lines.add(fmt::format("driving: {}; idling: {}", say(one.reserve_a), say(one.idle_reserve_a)));
}

void tell_ripple(Lines& lines, const PowerAnalysis& analysis) {
    const auto sentences = supply_ripple_sentences(analysis);
    if (!sentences.empty()) lines.title("Ripple at the amplifier");
    for (const std::string& one : sentences) lines.add(one);
}

}  // namespace

std::string power_text(const OpenedJob& opened, const PowerAnalysis& analysis) {
    Lines lines;
    lines.title(fmt::format("Supply: {}", opened.job.title.empty() ? "untitled job" : opened.job.title));
    lines.add(analysis.fuse_text);
    if (!analysis.draws.empty()) lines.title("Draws");
    for (const PowerDraw& one : analysis.draws)
        lines.add(fmt::format("{}: {:.0f} A{}", clean_text(one.name), one.current_a, one.note.empty() ? "" : " (" + one.note + ")"));
    if (!analysis.cables.empty()) lines.title("Cables");
    for (const PowerCable& one : analysis.cables) tell_cable(lines, one, analysis.allowed_drop_v);
    if (analysis.reserve) tell_reserve(lines, *analysis.reserve);
    tell_ripple(lines, analysis);
    if (!analysis.assumptions.empty()) lines.title("Assumed");
    for (const std::string& one : analysis.assumptions) lines.add(one, 0, "- ");
    lines.title("Before you begin");
    for (const std::string& one : analysis.cautions) lines.add(one, 0, "! ");
    tell_warnings(lines, all_warnings(opened.warnings, analysis.warnings));
    return lines.text();
}

}  // namespace hushtrace
