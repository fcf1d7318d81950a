#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

constexpr auto nothing = LimitedBy::nothing;

Json setting_json(const AmplifierSetting& one) {
    Json entry = {{"name", one.name},
                  {"target_output_v", figure_json(one.target_output_v)},
                  {"input_v_at_ceiling", figure_json(one.input_v_at_ceiling)},
                  {"input_v_at_ceiling_sd", figure_json(one.input_v_at_ceiling_sd)},
                  {"sensitivity_v", figure_json(one.sensitivity_v)},
                  {"gain_db", level_json(one.gain_db)},
                  {"noise_at_output_dbv", level_json(one.noise_at_output_dbv)},
                  {"noise_at_ear_db_spl", level_json(one.noise_at_ear_db_spl)},
                  {"notes", one.notes}};
    const auto known = [](const std::optional<double>& value) { return value.has_value(); };
    put_limits(entry, "input_v_at_ceiling", one.input_v_at_ceiling_sd, nothing, known(one.input_v_at_ceiling));
    put_limits(entry, "sensitivity_v", one.sensitivity_v_sd, nothing, known(one.sensitivity_v));
    put_limits(entry, "gain_db", one.gain_sd_db, nothing, known(one.gain_db));
    put_limits(entry, "noise_at_output_dbv", one.noise_sd_db, one.noise_limited_by, known(one.noise_at_output_dbv));
    put_limits(entry, "noise_at_ear_db_spl", one.noise_sd_db, one.noise_limited_by, known(one.noise_at_ear_db_spl));
    return entry;
}

}  // namespace

Json amplifiers_json(const std::vector<AmplifierSetting>& settings) {
    Json list = Json::array();
    for (const AmplifierSetting& one : settings) list.push_back(setting_json(one));
    return list;
}

}  // namespace hushtrace
