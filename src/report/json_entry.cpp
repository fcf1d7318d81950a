#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

Json path_json(const EntryPath& one) {
    return {{"source_id", one.source_id},
            {"paths", one.paths},
            {"mechanism", one.mechanism ? Json(*one.mechanism) : Json(nullptr)},
            {"probability", figure_json(one.probability)},
            {"evidence_for", evidence_json(one.evidence_for)},
            {"evidence_against", evidence_json(one.evidence_against)}};
}

/// The condition that makes a test, as a take or an observation spells it.
Json condition_json(const NextTest& one) {
    Json conditions = {{"engine", to_word(one.engine)}};
    if (one.rpm) conditions["rpm"] = *one.rpm;
    if (one.field == "hookup") {
        const auto comma = one.value.find(',');   // two at once, at most
        conditions["hookup"] =
            comma == std::string::npos ? Json::array({one.value}) : Json::array({one.value.substr(0, comma), one.value.substr(comma + 1)});
    } else if (one.field == "volume") {
        conditions["volume"] = 0;
    }
    if (one.field == "loads") conditions["loads"] = Json::array({"headlights", "rear_defogger"});
    else if (one.field == "attached") conditions["attached"] = Json::array();
    else if (!one.field.empty() && !conditions.contains(one.field)) conditions[one.field] = one.value;
    return conditions;
}

Json next_test_json(const NextTest& one) {
    Json outcomes = Json::array();
    for (const NextTest::Branch& branch : one.outcomes) outcomes.push_back({{"text", branch.text}, {"chance", figure_json(branch.chance)}});
    return {{"source_id", one.source_id},
            {"name", one.name},
            {"conditions", condition_json(one)},
            {"observation", one.observation},
            {"hands", one.hands},
            {"why", one.why},
            {"outcomes", std::move(outcomes)},
            {"expected_information_bits", figure_json(one.bits)},
            {"minutes", figure_json(one.minutes)}};
}

Json test_made_json(const TestMade& one) {
    Json ways = Json::array();
    for (const TestMade::Way& way : one.ways)
        ways.push_back({{"name", way.name}, {"before", figure_json(way.before)}, {"after", figure_json(way.after)}});
    return {{"source_id", one.source_id},
            {"name", one.name},
            {"outcome", evidence_json({one.outcome}).front()},
            {"ways", std::move(ways)},
            {"ruled_out", one.ruled_out}};
}

Json reading_json(const Reading& one) { return {{"value", figure_json(one.value)}, {"sd", figure_json(one.sd)}}; }
Json reading_json(const std::optional<Reading>& one) { return one ? reading_json(*one) : Json(nullptr); }

Json transfer_json(const SupplyTransfer& one) {
    Json points = Json::array();
    for (const SupplyTransfer::Point& point : one.points)
        points.push_back({{"frequency_hz", figure_json(point.frequency_hz)},
                          {"ratio_db", figure_json(point.ratio_db.value)},
                          {"sd_db", figure_json(point.ratio_db.sd)},
                          {"coherence", figure_json(point.coherence)}});
    return {{"source_id", one.source_id},
            {"take", one.take},
            {"channel", to_word(one.channel)},
            {"against", to_word(one.against)},
            {"calibrated", one.calibrated},
            {"points", std::move(points)},
            {"slope_db_per_decade", reading_json(one.slope_db_per_decade)},
            {"decades", figure_json(one.decades)},
            {"shared_mohm", reading_json(one.shared_mohm)},
            {"shared_at_hz", figure_json(one.shared_at_hz)},
            {"twin", one.twin ? Json(*one.twin) : Json(nullptr)},
            {"spoilt", one.spoilt},
            {"text", one.text}};
}

Json feed_json(const FeedImpedance& one) {
    return {{"take", one.take},
            {"resistance_ohm", reading_json(one.resistance_ohm)},
            {"inductance_h", reading_json(one.inductance_h)},
            {"corner_hz", reading_json(one.corner_hz)},
            {"capacitance_f", reading_json(one.capacitance_f)},
            {"from_hz", figure_json(one.from_hz)},
            {"to_hz", figure_json(one.to_hz)},
            {"text", one.text}};
}

Json cure_json(const Cure& one) {
    return {{"source_id", one.source_id},
            {"what", one.what},
            {"name", one.name},
            {"expected_change_db", level_json(one.expected_change_db)},
            {"sd_db", level_json(one.sd_db)},
            {"text", one.text}};
}

Json change_json(const ChangeMade& one) {
    return {{"change", one.change},
            {"source_id", one.source_id},
            {"before", one.before},
            {"after", one.after},
            {"channel", to_word(one.channel)},
            {"measured_db", level_json(one.measured_db.value)},
            {"measured_sd_db", level_json(one.measured_db.sd)},
            {"at_most", one.at_most},
            {"promised_db", one.promised_db ? level_json(one.promised_db->value) : Json(nullptr)},
            {"promised_sd_db", one.promised_db ? level_json(one.promised_db->sd) : Json(nullptr)},
            {"verdict", one.verdict},
            {"text", one.text}};
}

Json dummy_test_json(const DummyTest& one) {
    Json steps = Json::array();
    const auto words = [](const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); };
    for (const DummyTest::Step& step : one.steps)
        steps.push_back({{"number", step.number},
                         {"name", step.name},
                         {"hands", step.hands},
                         {"state", step.state},
                         {"showed", words(step.showed)},
                         {"means", words(step.means)}});
    return {{"source_id", one.source_id}, {"begun", one.begun}, {"steps", std::move(steps)}, {"verdict", words(one.verdict)}};
}

}  // namespace

Json evidence_json(const std::vector<Evidence>& evidence) {
    Json list = Json::array();
    for (const Evidence& one : evidence)
        list.push_back({{"text", one.text},
                        {"value", figure_json(one.value)},
                        {"unit", one.unit},
                        {"sd", figure_json(one.sd)},
                        {"takes", one.takes},
                        {"observations", one.observations}});
    return list;
}

void put_entry(Json& results, const NoiseAnalysis& analysis) {
    results["entry_paths"] = Json::array();
    for (const EntryPath& one : analysis.entry_paths) results["entry_paths"].push_back(path_json(one));
    results["tests_made"] = Json::array();
    for (const TestMade& one : analysis.tests_made) results["tests_made"].push_back(test_made_json(one));
    results["supply_transfers"] = Json::array();
    for (const SupplyTransfer& one : analysis.supply_transfers) results["supply_transfers"].push_back(transfer_json(one));
    results["feed_impedances"] = Json::array();
    for (const FeedImpedance& one : analysis.feed_impedances) results["feed_impedances"].push_back(feed_json(one));
    results["dummy_test"] = analysis.dummy_test ? dummy_test_json(*analysis.dummy_test) : Json(nullptr);
    results["next_test"] = analysis.next_test ? next_test_json(*analysis.next_test) : Json(nullptr);
    results["cures"] = Json::array();
    for (const Cure& one : analysis.cures) results["cures"].push_back(cure_json(one));
    results["changes"] = Json::array();
    for (const ChangeMade& one : analysis.changes) results["changes"].push_back(change_json(one));
}

}  // namespace hushtrace
