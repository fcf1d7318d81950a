#include <nlohmann/json.hpp>

#include "scenario.hpp"

namespace hushtrace::simulated {
namespace {

using nlohmann::ordered_json;

template <class Number>
ordered_json known(const std::optional<Number>& value) {
    return value ? ordered_json(*value) : ordered_json(nullptr);
}

ordered_json describe_vehicle(const VehiclePart& vehicle) {
    const AlternatorPart& alternator = vehicle.alternator;
    ordered_json ratio = nullptr, pairs = nullptr;
    if (alternator.ratio_known) {
        ratio = alternator.pulley_ratio;
        pairs = alternator.pole_pairs;
    }
    return {
        {"description", vehicle.description},
        {"drive", to_word(vehicle.drive)},
        {"supply_v", vehicle.supply_v},
        {"cylinders", vehicle.cylinders},
        {"strokes", vehicle.strokes},
        {"mains_hz", vehicle.mains_hz},
        {"alternator", {{"pole_pairs", pairs}, {"pulley_ratio", ratio}, {"rated_a", alternator.rated_a}}}};
}

}  // namespace

std::string describe_job(const Scenario& scenario) {
    ordered_json job = {{"schema", "hushtrace.job/1"}, {"title", scenario.title}};
    if (!scenario.complaint.empty()) job["complaint"] = scenario.complaint;
    job["vehicle"] = describe_vehicle(scenario.vehicle);
    const SourcePart& source = scenario.source;
    job["source"] = {{"description", source.description},
                     {"preout_v", source.preout_v},
                     {"volume_top", source.volume_top},
                     {"factory", source.factory},
                     {"output", "line"}};
    job["amplifiers"] = ordered_json::array();
    for (const AmplifierLabel& label : scenario.amplifiers) {
        job["amplifiers"].push_back({{"name", label.name},
                                     {"power_w", known(label.power_w)},
                                     {"load_ohm", known(label.load_ohm)},
                                     {"sensitivity_v", known(label.sensitivity_v)},
                                     {"max_current_a", known(label.max_current_a)},
                                     {"bridged_output", label.bridged_output},
                                     {"input", "line"}});
    }
    job["speakers"] = ordered_json::array();
    for (const SpeakerLabel& label : scenario.speakers) {
        job["speakers"].push_back({{"amplifier", label.amplifier},
                                   {"power_w", known(label.power_w)},
                                   {"sensitivity_db_2v83_1m", known(label.sensitivity_db_2v83_1m)},
                                   {"distance_m", known(label.distance_m)}});
    }
    const LeadPart& lead = scenario.lead;
    job["cables"] = {
        {"signal_m", lead.signal_m},
        {"separation_m", lead.separation_m},
        {"parallel_m", lead.parallel_m},
        {"crossing_deg", lead.crossing_deg > 0 ? ordered_json(lead.crossing_deg) : ordered_json(nullptr)},
        {"above_metal_m", lead.above_metal_m}};
    const FeedPart& feed = scenario.feed;
    job["supply"] = {{"length_m", feed.length_m},
                     {"area_mm2", feed.area_mm2},
                     {"conductor", to_word(feed.conductor)},
                     {"temperature_c", feed.temperature_c},
                     {"allowed_drop_v", known(feed.allowed_drop_v)},
                     {"branches", ordered_json::array()}};
    const InterfacePart& interface = scenario.interface;
    job["interface"] = {{"volts_full_scale", {nullptr, nullptr}},
                        {"own_noise_dbv", {nullptr, nullptr}},
                        {"input", to_word(interface.input)},
                        {"amps_per_volt", known(interface.amps_per_volt)}};
    job["takes"] = ordered_json::array();
    job["observations"] = ordered_json::array();
    return job.dump(2);
}

}  // namespace hushtrace::simulated
