#include "supply_words.hpp"

#include <fmt/format.h>

#include "hushtrace/report/wording.hpp"

namespace hushtrace {

std::string supply_size_text(double area_mm2) {
    const auto gauge = nearest_gauge(area_mm2);
    return gauge ? fmt::format("{:.3g} mm2 (about {})", area_mm2, gauge_name(*gauge)) : fmt::format("{:.3g} mm2", area_mm2);
}

std::string supply_verdict_text(const PowerCable& one, double allowed_drop_v) {
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

std::vector<std::string> supply_ripple_sentences(const PowerAnalysis& analysis) {
    std::vector<std::string> out;
    if (analysis.feed) {
        const FeedEstimate& one = *analysis.feed;
        out.push_back(fmt::format("the feed: {:.1f} mohm and {:.1f} uH, {:.0f} mohm at {} ({})", 1e3 * one.resistance_ohm, 1e6 * one.inductance_h,
                              1e3 * one.impedance_ohm, frequency_text(one.line_hz), one.line_known ? "the whine at idle" : "a usual whine"));
        out.push_back(fmt::format("expected: {} of the battery's {}, with {:.1f} A of ripple current through feed and ground",
                                  volts_text(one.ripple_v), volts_text(one.battery_ripple_v), one.ripple_a));
        if (one.worst)
            out.push_back(
                fmt::format("at worst: {}, with {:.1f} A, near {}{}: more than the battery's, since the feed's inductance and the amplifiers' "
                            "capacitors resonate at {}; the engine sweeps through it",
                            volts_text(one.worst->ripple_v), one.worst->ripple_a, frequency_text(one.worst->frequency_hz),
                            one.worst->rpm ? fmt::format(" (the whine at {:.0f} rpm)", *one.worst->rpm) : "", frequency_text(one.resonance_hz)));
    }
    for (const MeasuredRipple& one : analysis.ripple)
        out.push_back(fmt::format("measured: {} ±{}{} ({}, engine {})", volts_text(one.volts.value), volts_text(2 * one.volts.sd),
                              limit_text(one.volts.limited_by), clean_text(one.take), spaced(to_word(one.engine))));
    return out;
}

}  // namespace hushtrace
