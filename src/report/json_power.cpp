#include "json_results.hpp"

#include "hushtrace/diagnose/power_analysis.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json cable_json(const PowerCable& one) {
    Json size = nullptr;
    if (one.smallest)
        size = {{"area_mm2", figure_json(one.smallest->area_mm2)},
                {"awg", one.smallest->awg ? Json(gauge_name(*one.smallest->awg)) : Json(nullptr)}};
    return {{"part", one.part},
            {"conductor", std::string(to_word(one.conductor))},
            {"temperature_c", figure_json(one.temperature_c)},
            {"current_a", figure_json(one.current_a)},
            {"length_m", figure_json(one.length_m)},
            {"area_mm2", figure_json(one.area_mm2)},
            {"resistance_mohm", one.resistance_ohm ? figure_json(1e3 * *one.resistance_ohm) : Json(nullptr)},
            {"drop_v", figure_json(one.drop_v)},
            {"with_feed_v", figure_json(one.with_feed_v)},
            {"fuse_a", figure_json(one.fuse_a)},
            {"needs_fuse", one.needs_fuse},
            {"largest_fuse_a", one.carries ? figure_json(one.carries->fuse_a) : Json(nullptr)},
            {"needed_for_drop_mm2", figure_json(one.drop_area_mm2)},
            {"needed_for_fuse_mm2", figure_json(one.fuse_area_mm2)},
            {"smallest", std::move(size)},
            {"verdict", std::string(to_word(one.verdict))},
            {"notes", one.notes}};
}

Json feed_json(const FeedEstimate& one) {
    return {{"resistance_mohm", figure_json(1e3 * one.resistance_ohm)},
            {"inductance_uh", figure_json(1e6 * one.inductance_h)},
            {"line_hz", figure_json(one.line_hz)},
            {"line_known", one.line_known},
            {"impedance_mohm", figure_json(1e3 * one.impedance_ohm)},
            {"battery_ripple_v", figure_json(one.battery_ripple_v)},
            {"ripple_v", figure_json(one.ripple_v)},
            {"ripple_a", figure_json(one.ripple_a)},
            {"resonance_hz", figure_json(one.resonance_hz)},
            {"worst_hz", one.worst ? figure_json(one.worst->frequency_hz) : Json(nullptr)},
            {"worst_rpm", one.worst ? figure_json(one.worst->rpm) : Json(nullptr)},
            {"worst_ripple_v", one.worst ? figure_json(one.worst->ripple_v) : Json(nullptr)},
            {"worst_ripple_a", one.worst ? figure_json(one.worst->ripple_a) : Json(nullptr)}};
}

Json reserve_json(const AlternatorReserve& one) {
    return {{"rated_a", figure_json(one.rated_a)},
            {"music_a", figure_json(one.music_a)},
            {"vehicle_a", figure_json(one.vehicle_a)},
            {"reserve_a", figure_json(one.reserve_a)},
            {"idle_reserve_a", figure_json(one.idle_reserve_a)}};
}

}  // namespace

Json power_results(const PowerAnalysis& analysis) {
    Json draws = Json::array(), cables = Json::array(), ripple = Json::array();
    for (const PowerDraw& one : analysis.draws)
        draws.push_back({{"name", one.name}, {"current_a", figure_json(one.current_a)}, {"estimated", one.estimated},
                         {"note", one.note.empty() ? Json(nullptr) : Json(one.note)}});
    for (const PowerCable& one : analysis.cables) cables.push_back(cable_json(one));
    for (const MeasuredRipple& one : analysis.ripple) {
        Json entry = {{"take", one.take}, {"engine", std::string(to_word(one.engine))}, {"ripple_v", figure_json(one.volts.value)}};
        put_limits(entry, "ripple_v", one.volts.sd, one.volts.limited_by, true);
        ripple.push_back(std::move(entry));
    }
    return {{"total_a", figure_json(analysis.total_a)},
            {"fuse_a", figure_json(analysis.fuse_a)},
            {"fuse_reason", analysis.fuse_reason.empty() ? Json(nullptr) : Json(analysis.fuse_reason)},
            {"fuse_text", analysis.fuse_text},
            {"drop_v", figure_json(analysis.drop_v)},
            {"allowed_drop_v", figure_json(analysis.allowed_drop_v)},
            {"draws", std::move(draws)},
            {"cable", std::move(cables)},
            {"alternator", analysis.reserve ? reserve_json(*analysis.reserve) : Json(nullptr)},
            {"feed", analysis.feed ? feed_json(*analysis.feed) : Json(nullptr)},
            {"ripple", std::move(ripple)},
            {"assumptions", analysis.assumptions},
            {"cautions", analysis.cautions}};
}

}  // namespace hushtrace
