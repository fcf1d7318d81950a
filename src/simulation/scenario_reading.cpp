#include <fmt/core.h>

#include <fstream>
#include <set>
#include <sstream>
#include <system_error>

#include "fields.hpp"
#include "hushtrace/signal/error.hpp"
#include "scenario.hpp"
#include "scenario_parts.hpp"

namespace hushtrace::simulated {
namespace {

using nlohmann::json;

constexpr std::uintmax_t largest_file_bytes = 1 << 20;

AlternatorPart read_alternator(Fields fields) {
    AlternatorPart part;
    part.pole_pairs = fields.whole("pole_pairs", 1, 24);
    part.pulley_ratio = fields.number("pulley_ratio", 0.5, 6);
    part.rated_a = fields.number("rated_a", 1, 1000);
    part.sets = fields.whole_or("sets", part.sets, 1, 2);
    part.set_imbalance = fields.number_or("set_imbalance", part.set_imbalance, 0, 1);
    part.phase_unbalance_percent =
        fields.number_or("phase_unbalance_percent", part.phase_unbalance_percent, 0, 50);
    part.ratio_known = fields.flag_or("ratio_known", false);
    const std::string fault = fields.text_or("fault", "none");
    if (fault == "diode_open")
        part.fault = AlternatorFault::diode_open;
    else if (fault == "phase_open")
        part.fault = AlternatorFault::phase_open;
    else if (fault != "none")
        fields.refuse("fault", "must be none, diode_open or phase_open, found " + fault);
    if (fields.has("regulator")) {
        Fields inner = fields.object("regulator");
        part.regulator = RegulatorPart{inner.number("pwm_hz", 10, 5000), inner.number("modulation", 0, 1),
                                       inner.number_or("field_ripple_a", 0, 0, 10)};
        inner.finish();
    }
    fields.finish();
    return part;
}

EnginePart read_engine(Fields fields) {
    EnginePart part;
    part.idle_rpm = fields.number("idle_rpm", 200, 3000);
    part.raised_rpm = fields.number_or("raised_rpm", part.raised_rpm, 300, 8000);
    part.sweep_top_rpm = fields.number_or("sweep_top_rpm", part.sweep_top_rpm, 300, 8000);
    part.sweep_s = fields.number_or("sweep_s", part.sweep_s, 1, 600);
    part.idle_wander_percent = fields.number_or("idle_wander_percent", part.idle_wander_percent, 0, 10);
    part.held_wander_percent = fields.number_or("held_wander_percent", part.held_wander_percent, 0, 10);
    part.firing_ripple_percent = fields.number_or("firing_ripple_percent", part.firing_ripple_percent, 0, 10);
    fields.finish();
    return part;
}

IgnitionPart read_ignition(Fields fields) {
    IgnitionPart part;
    part.pulse_a = fields.number("pulse_a", 0, 100);
    part.pulse_lead_v = fields.number_or("pulse_lead_v", 0, 0, 10);
    part.ring_hz = fields.number_or("ring_hz", part.ring_hz, 500, 18000);
    part.ring_decay_s = fields.number_or("ring_decay_s", part.ring_decay_s, 1e-5, 1e-3);
    part.jitter_deg = fields.number_or("jitter_deg", part.jitter_deg, 0, 5);
    part.scatter_percent = fields.number_or("scatter_percent", part.scatter_percent, 0, 50);
    fields.finish();
    return part;
}

VehiclePart read_vehicle(Fields fields) {
    VehiclePart part;
    part.description = fields.text("description");
    part.drive = fields.word_or("drive", Drive::combustion);
    if (part.drive != Drive::combustion && part.drive != Drive::diesel)
        fields.refuse("drive", "only combustion and diesel are simulated");
    part.supply_v = fields.number_or("supply_v", part.supply_v, 6, 48);
    part.cylinders = fields.whole("cylinders", 1, 16);
    part.strokes = fields.whole_or("strokes", 4, 2, 4);
    if (part.strokes == 3) fields.refuse("strokes", "must be 2 or 4");
    part.mains_hz = fields.number("mains_hz", 40, 70);
    part.base_load_a = fields.number_or("base_load_a", part.base_load_a, 0, 300);
    part.battery_mohm = fields.number_or("battery_mohm", part.battery_mohm, 0.1, 1000);
    part.battery_uh = fields.number_or("battery_uh", part.battery_uh, 0, 100);
    part.body_mohm = fields.number_or("body_mohm", part.body_mohm, 0, 100);
    part.engine = read_engine(fields.object("engine"));
    part.alternator = read_alternator(fields.object("alternator"));
    if (fields.has("ignition")) {
        if (part.drive == Drive::diesel) fields.refuse("ignition", "a diesel has none");
        part.ignition = read_ignition(fields.object("ignition"));
    }
    fields.finish();
    return part;
}

LoadPart read_load(Fields fields) {
    LoadPart part;
    part.name = fields.text("name");
    part.current_a = fields.number("current_a", 0, 300);
    part.always_on = fields.flag_or("always_on", false);
    part.dash_share = fields.number_or("dash_share", 0, 0, 1);
    if (fields.has("pwm")) {
        Fields inner = fields.object("pwm");
        part.pwm = PwmPart{inner.number("frequency_hz", 10, 10000), inner.number("duty", 0.01, 0.99)};
        inner.finish();
    }
    if (fields.has("motor")) {
        Fields inner = fields.object("motor");
        part.motor = MotorPart{inner.number("bars", 2, 100), inner.number("speed_rps", 1, 1000),
                               inner.number("ripple_a", 0, 50), inner.number_or("drift_percent", 1, 0, 10)};
        inner.finish();
    }
    fields.finish();
    return part;
}

DevicePart read_device(Fields fields) {
    DevicePart part;
    part.device = fields.text("device");
    part.current_a = fields.number_or("current_a", part.current_a, 0, 30);
    part.socket_ground_mohm = fields.number_or("socket_ground_mohm", part.socket_ground_mohm, 0.01, 10000);
    part.aux_shield_ohm = fields.number_or("aux_shield_ohm", part.aux_shield_ohm, 0.001, 1e6);
    part.link_ohm = fields.number_or("link_ohm", part.link_ohm, 0.001, 1e9);
    part.hash_mv = fields.number_or("hash_mv", 0, 0, 1000);
    part.hash_hz = fields.number_or("hash_hz", part.hash_hz, 100, 20000);
    fields.finish();
    return part;
}

AmplifierLabel read_amplifier_label(Fields fields) {
    AmplifierLabel part;
    part.name = fields.text("name");
    part.power_w = fields.maybe_number("power_w", 1, 100000);
    part.load_ohm = fields.maybe_number("load_ohm", 0.1, 1000);
    if (fields.has("sensitivity_v")) part.sensitivity_v = fields.pair("sensitivity_v", 0.001, 1000);
    part.max_current_a = fields.maybe_number("max_current_a", 0.1, 10000);
    part.bridged_output = fields.flag_or("bridged_output", false);
    fields.finish();
    return part;
}

SpeakerLabel read_speaker_label(Fields fields) {
    SpeakerLabel part;
    part.amplifier = fields.text("amplifier");
    part.power_w = fields.maybe_number("power_w", 0.1, 100000);
    part.sensitivity_db_2v83_1m = fields.maybe_number("sensitivity_db_2v83_1m", 40, 130);
    part.distance_m = fields.maybe_number("distance_m", 0.05, 20);
    fields.finish();
    return part;
}

std::string content_of(const std::filesystem::path& file) {
    std::error_code failure;
    const auto status = std::filesystem::status(file, failure);
    if (failure || !std::filesystem::exists(status))
        throw Error(ErrorKind::file_unreadable, fmt::format("{}: no such file", file.string()));
    if (!std::filesystem::is_regular_file(status))
        throw Error(ErrorKind::file_unreadable, fmt::format("{}: not a file", file.string()));
    const auto bytes = std::filesystem::file_size(file, failure);
    if (failure || bytes > largest_file_bytes)
        throw Error(ErrorKind::file_unreadable,
                    fmt::format("{}: too large for a vehicle's description", file.string()));
    std::ifstream stream(file, std::ios::binary);
    std::ostringstream text;
    text << stream.rdbuf();
    if (!stream || text.str().empty())
        throw Error(ErrorKind::file_unreadable, fmt::format("{}: empty or not readable", file.string()));
    return text.str();
}

json parsed(const std::string& text, const std::string& file) {
    std::vector<std::set<std::string>> open;  // the names met so far in each object that is still open
    std::string repeated;
    const auto watch = [&](int, json::parse_event_t event, json& value) {
        if (event == json::parse_event_t::object_start) open.emplace_back();
        if (event == json::parse_event_t::object_end) open.pop_back();
        if (event == json::parse_event_t::key && !open.back().insert(value.get<std::string>()).second &&
            repeated.empty())
            repeated = value.get<std::string>();
        return true;
    };
    try {
        json whole = json::parse(text, watch);
        if (!repeated.empty())
            throw Error(ErrorKind::invalid_input, fmt::format("{}: {}: given twice", file, in_one_line(repeated)));
        return whole;
    } catch (const json::exception& failure) {
        std::string why = failure.what();   // it quotes bytes that may be no UTF-8
        for (char& c : why)
            if (static_cast<unsigned char>(c) >= 0x80) c = '?';
        throw Error(ErrorKind::invalid_input, fmt::format("{}: not valid JSON: {}", file, in_one_line(why)));
    }
}

}  // namespace

Scenario read_scenario(const std::filesystem::path& file) {
    const json whole = parsed(content_of(file), file.string());
    Fields fields(whole, file.string(), "");
    if (const std::string schema = fields.text("schema"); schema != "hushtrace.vehicle/1")
        fields.refuse("schema", fmt::format("must be hushtrace.vehicle/1, found {}", schema));
    Scenario scenario;
    scenario.title = fields.text("title");
    scenario.complaint = fields.text_or("complaint", "");
    scenario.vehicle = read_vehicle(fields.object("vehicle"));
    for (Fields& entry : fields.objects("loads")) scenario.loads.push_back(read_load(entry));
    for (Fields& entry : fields.objects("devices")) scenario.devices.push_back(read_device(entry));
    scenario.source = read_source(fields.object("source"));
    scenario.lead = read_lead(fields.object("lead"));
    scenario.feed = read_feed(fields.object("feed"));
    scenario.amplifier = read_amplifier(fields.object("amplifier"));
    if (fields.has("speaker_leads"))
        scenario.speaker_leads = read_speaker_leads(fields.object("speaker_leads"));
    for (Fields& entry : fields.objects("amplifiers"))
        scenario.amplifiers.push_back(read_amplifier_label(entry));
    for (Fields& entry : fields.objects("speakers")) scenario.speakers.push_back(read_speaker_label(entry));
    if (fields.has("laptop")) scenario.laptop = read_laptop(fields.object("laptop"));
    scenario.interface = read_interface(fields.object("interface"));
    fields.finish();
    return scenario;
}

}  // namespace hushtrace::simulated
