#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/report/wording.hpp"
#include "lines.hpp"

namespace hushtrace {
namespace {

std::string size_text(double area_mm2) {
    const auto gauge = nearest_gauge(area_mm2);
    return gauge ? fmt::format("{:.3g} mm2 (about {})", area_mm2, gauge_name(*gauge)) : fmt::format("{:.3g} mm2", area_mm2);
}

std::string verdict_text(const PowerCable& one, double allowed_drop_v) {
    switch (one.verdict) {
        case CableVerdict::fits: return "fits";
        case CableVerdict::too_thin: return "TOO THIN for the fuse that its current needs";
        case CableVerdict::drops_too_much: 
            return fmt::format("LOSES TOO MUCH: {:.2f} V{} of {:g} V allowed", one.with_feed_v.value_or(*one.drop_v),
                               one.with_feed_v ? " with the feed," : "", allowed_drop_v);
        case CableVerdict::not_stated: return "no size stated";
        case CableVerdict::beyond_tables: break;
    }
    return one.area_mm2 && !one.carries ? "thinner than the table of largest fuses" : "beyond the tables";
}

void tell_cable(Lines& lines, const PowerCable& one, double allowed_drop_v) {
    std::string head = fmt::format("{}: {:.0f} A", clean_text(one.part), one.current_a);
    if (one.area_mm2) head += fmt::format(", {}", size_text(*one.area_mm2));
    if (one.length_m) head += fmt::format(", {:g} m", *one.length_m);
    lines.add(head + ": " + verdict_text(one, allowed_drop_v));
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
    if (!analysis.feed && analysis.ripple.empty()) return;
    lines.title("Ripple at the amplifier");
    if (analysis.feed) {
        const FeedEstimate& one = *analysis.feed;
        lines.add(fmt::format("the feed: {:.1f} mohm and {:.1f} uH, {:.0f} mohm at {} ({})", 1e3 * one.resistance_ohm, 1e6 * one.inductance_h,
                              1e3 * one.impedance_ohm, frequency_text(one.line_hz), one.line_known ? "the whine at idle" : "a usual whine"));
        lines.add(fmt::format("expected: {} of the battery's {}, with {:.1f} A of ripple current through feed and ground", volts_text(one.ripple_v),
                              volts_text(one.battery_ripple_v), one.ripple_a));
        if (one.worst)
            lines.add(fmt::format("at worst: {}, with {:.1f} A, near {}{}: more than the battery's, since the feed's inductance and the amplifiers' "
                                  "capacitors resonate at {}; the engine sweeps through it",
                                  volts_text(one.worst->ripple_v), one.worst->ripple_a, frequency_text(one.worst->frequency_hz),
                                  one.worst->rpm ? fmt::format(" (the whine at {:.0f} rpm)", *one.worst->rpm) : "",
                                  frequency_text(one.resonance_hz)));
    }
    for (const MeasuredRipple& one : analysis.ripple)
        lines.add(fmt::format("measured: {} ±{}{} ({}, engine {})", volts_text(one.volts.value), volts_text(2 * one.volts.sd),
                              limit_text(one.volts.limited_by), clean_text(one.take), spaced(to_word(one.engine))));
}

}  // namespace

std::string power_text(const OpenedJob& opened, const PowerAnalysis& analysis) {
    Lines lines;
    lines.title(fmt::format("Supply: {}", opened.job.title.empty() ? "untitled job" : opened.job.title));
    lines.add(analysis.fuse_text);
    if (!analysis.draws.empty()) lines.title("Draws");
    for (const PowerDraw& one : analysis.draws)
        lines.add(fmt::format("{}: {:.0f} A{}{}", clean_text(one.name), one.current_a, one.estimated ? " (estimated from its power)" : "",
                              one.note.empty() ? "" : " (" + one.note + ")"));
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
