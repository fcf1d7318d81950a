#include <nlohmann/json.hpp>

#include "hushtrace/report/comparison.hpp"
#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json text_or_null(const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); }

Json figure(const std::optional<ComparedFigure>& one) {
    if (!one) return nullptr;
    return {{"value", figure_json(one->value)}, {"sd", figure_json(one->sd)}, {"at_most", one->at_most}};
}

Json item_json(const ComparedItem& one) {
    return {{"area", one.area},
            {"what", one.what},
            {"where", text_or_null(one.where)},
            {"take_before", text_or_null(one.take_before)},
            {"take_after", text_or_null(one.take_after)},
            {"verdict", std::string(to_word(one.verdict))},
            {"unit", text_or_null(one.unit)},
            {"before", figure(one.before)},
            {"after", figure(one.after)},
            {"difference", figure_json(one.difference)},
            {"difference_unit", text_or_null(one.difference_unit)},
            {"difference_sd", figure_json(one.difference_sd)},
            {"limit", figure_json(one.limit)},
            {"at_least", one.at_least},
            {"repeatability", text_or_null(one.repeatability)},
            {"text", one.text}};
}

const char* kind_word(ComparedCurve::Kind kind) {
    return kind == ComparedCurve::Kind::floor ? "floor" : kind == ComparedCurve::Kind::distortion ? "distortion" : "response";
}

Json curve_json(const ComparedCurve& one) {
    const char* axis = one.kind == ComparedCurve::Kind::distortion ? "volume" : "frequency_hz";
    Json points = Json::array();
    for (const ComparedPoint& point : one.points)
        points.push_back(
            {{axis, figure_json(point.x)}, {"before", figure(point.before)}, {"after", figure(point.after)}, {"changed", point.changed}});
    return {{"kind", kind_word(one.kind)}, {"title", one.title}, {"unit", one.unit}, {"text", one.text}, {"points", std::move(points)}};
}

}  // namespace

std::string comparison_document(const Comparison& comparison, std::string_view version, std::string_view page, std::string_view data) {
    const auto side = [](const std::string& called, const std::string& made_by, const std::optional<std::string>& date) {
        return Json{{"record", called}, {"version", made_by}, {"date", date ? Json(*date) : Json(nullptr)}};
    };
    Json pairs = Json::array(), left = Json::array(), items = Json::array(), curves = Json::array();
    for (const TakePairing& one : comparison.pairs)
        pairs.push_back({{"before", one.before}, {"after", one.after}, {"conditions", one.conditions}, {"remarks", one.remarks}});
    for (const TakeLeftOut& one : comparison.left_out)
        left.push_back({{"record", one.earlier ? "before" : "after"}, {"take", one.take}, {"differs", one.differs}, {"text", one.text}});
    for (const ComparedItem& one : comparison.items) items.push_back(item_json(one));
    for (const ComparedCurve& one : comparison.curves) curves.push_back(curve_json(one));
    const Json whole = {{"schema", "hushtrace.comparison/1"},
                        {"tool", {{"name", "hushtrace"}, {"version", std::string(version)}}},
                        {"input",
                         {{"title", comparison.title},
                          {"before", side(comparison.before_called, comparison.before_version, comparison.before_date)},
                          {"after", side(comparison.after_called, comparison.after_version, comparison.after_date)}}},
                        {"results",
                         {{"in_short", comparison.in_short},
                          {"items", std::move(items)},
                          {"curves", std::move(curves)},
                          {"pairs", std::move(pairs)},
                          {"left_out", std::move(left)},
                          {"notes", comparison.notes},
                          {"page", std::string(page)},
                          {"data", std::string(data)}}},
                        {"warnings", Json::array()}};
    return whole.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace hushtrace
