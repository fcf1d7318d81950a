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
    if (one.field == "hookup") conditions["hookup"] = Json::array({one.value});
    else if (one.field == "volume") conditions["volume"] = 0;
    else if (one.field == "loads") conditions["loads"] = Json::array({"headlights", "rear_defogger"});
    else if (one.field == "attached") conditions["attached"] = Json::array();
    else if (!one.field.empty()) conditions[one.field] = one.value;
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
    results["next_test"] = analysis.next_test ? next_test_json(*analysis.next_test) : Json(nullptr);
}

}  // namespace hushtrace
