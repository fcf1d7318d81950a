#include "scenario_parts.hpp"

#include <limits>
#include <string>

namespace hushtrace::simulated {
namespace {

constexpr double no_limit = std::numeric_limits<double>::max();

ContactPart read_contact(Fields fields) {
    ContactPart part;
    part.ohm = fields.number("ohm", 0, 1e9);
    part.wander_percent = fields.number_or("wander_percent", 0, 0, 300);
    part.events_per_minute = fields.number_or("events_per_minute", 0, 0, 6000);
    const std::string place = fields.text("place");
    if (place == "shell_at_source")
        part.place = ContactPlace::shell_at_source;
    else if (place == "shell_at_amp")
        part.place = ContactPlace::shell_at_amp;
    else if (place == "core_at_source")
        part.place = ContactPlace::core_at_source;
    else
        fields.refuse("place", "must be shell_at_source, shell_at_amp or core_at_source, found " + place);
    const std::string side = fields.text_or("side", "both");
    if (side != "left" && side != "right" && side != "both")
        fields.refuse("side", "must be left, right or both, found " + side);
    part.sides = {side != "right", side != "left"};
    fields.finish();
    return part;
}

}  // namespace

LeadPart read_lead(Fields fields) {
    LeadPart part;
    part.signal_m = fields.number("signal_m", 0.1, 50);
    part.separation_m = fields.number("separation_m", 0.001, 10);
    part.parallel_m = fields.number("parallel_m", 0, 50);
    part.crossing_deg = fields.number_or("crossing_deg", 0, 0, 90);
    part.above_metal_m = fields.number("above_metal_m", 0.001, 2);
    part.shield_ohm = fields.number("shield_ohm", 1e-4, 1e6);
    part.core_offset_mm = fields.number_or("core_offset_mm", part.core_offset_mm, 0, 100);
    part.stray_pf = fields.number_or("stray_pf", 0, 0, 10000);
    part.right_over_left = fields.number_or("right_over_left", part.right_over_left, 0, 10);
    part.swapped = fields.flag_or("swapped", false);
    if (fields.has("contact")) part.contact = read_contact(fields.object("contact"));
    if (part.parallel_m > part.signal_m) fields.refuse("parallel_m", "can't be longer than signal_m");
    fields.finish();
    return part;
}

FeedPart read_feed(Fields fields) {
    FeedPart part;
    part.length_m = fields.number("length_m", 0.1, 50);
    part.area_mm2 = fields.number("area_mm2", 0.1, 1000);
    part.conductor = fields.word_or("conductor", Conductor::copper);
    part.temperature_c = fields.number_or("temperature_c", part.temperature_c, -60, 200);
    part.allowed_drop_v = fields.maybe_number("allowed_drop_v", 0, 12);
    fields.finish();
    return part;
}

AmplifierPart read_amplifier(Fields fields) {
    AmplifierPart part;
    part.input_ohm = fields.number_or("input_ohm", part.input_ohm, 100, 1e7);
    part.shell_to_ground_ohm = fields.number("shell_to_ground_ohm", 1e-4, 1e9);
    part.ground_mohm = fields.number("ground_mohm", 0.01, 1e6);
    part.capacitor_mf = fields.number_or("capacitor_mf", part.capacitor_mf, 0.01, 10000);
    part.capacitor_mohm = fields.number_or("capacitor_mohm", part.capacitor_mohm, 0.1, 1000);
    part.idle_current_a = fields.number_or("idle_current_a", part.idle_current_a, 0, 100);
    part.gain_db = fields.number_or("gain_db", part.gain_db, -20, 80);
    part.noise_dbv = fields.number_or("noise_dbv", part.noise_dbv, -200, 0);
    part.supply_rejection_db = fields.number_or("supply_rejection_db", part.supply_rejection_db, 0, 200);
    part.supply_rejection_corner_hz =
        fields.number_or("supply_rejection_corner_hz", part.supply_rejection_corner_hz, 20, 1e6);
    part.pin1_ohm = fields.number_or("pin1_ohm", 0, 0, 1e6);
    if (part.pin1_ohm > part.shell_to_ground_ohm)
        fields.refuse("pin1_ohm", "is a part of shell_to_ground_ohm and can't be more");
    part.rail_v = fields.number_or("rail_v", part.rail_v, 0.1, 1000);
    fields.finish();
    return part;
}

SpeakerLeadsPart read_speaker_leads(Fields fields) {
    SpeakerLeadsPart part;
    part.length_m = fields.number("length_m", 0, 50);
    part.separation_m = fields.number("separation_m", 0.001, 10);
    part.spacing_mm = fields.number_or("spacing_mm", part.spacing_mm, 0, 1000);
    const std::string beside = fields.text_or("beside", "feed");
    if (beside != "feed" && beside != "battery_cable")
        fields.refuse("beside", "must be feed or battery_cable, found " + beside);
    part.beside_feed = beside == "feed";
    part.right_over_left = fields.number_or("right_over_left", part.right_over_left, 0, 10);
    fields.finish();
    return part;
}

LaptopPart read_laptop(Fields fields) {
    LaptopPart part;
    part.leakage_ua = fields.number_or("leakage_ua", part.leakage_ua, 0, 10000);
    part.harmonic_share = fields.number_or("harmonic_share", part.harmonic_share, 0, 2);
    part.earth_ohm = fields.maybe_number("earth_ohm", 0.01, 1e6);
    part.earth_difference_mv = fields.number_or("earth_difference_mv", 0, 0, 10000);
    part.socket_ground_mohm = fields.number_or("socket_ground_mohm", part.socket_ground_mohm, 0, 10000);
    part.vehicle_adapter_ohm = fields.number_or("vehicle_adapter_ohm", part.vehicle_adapter_ohm, 0.001, 1e6);
    fields.finish();
    return part;
}

InterfacePart read_interface(Fields fields) {
    InterfacePart part;
    part.sample_rate_hz = fields.number_or("sample_rate_hz", part.sample_rate_hz, 32000, 192000);
    part.volts_full_scale = fields.pair("volts_full_scale", 0.01, 1000);
    part.own_noise_dbv = fields.number("own_noise_dbv", -180, 0);
    part.clock_ppm = fields.number_or("clock_ppm", part.clock_ppm, -1000, 1000);
    part.output_full_scale_v = fields.number_or("output_full_scale_v", part.output_full_scale_v, 0.01, 20);
    part.input = fields.word_or("input", InterfaceInput::grounded);
    part.y_lead_ohm = fields.number_or("y_lead_ohm", part.y_lead_ohm, 1e-4, 1000);
    part.output_lead_ohm = fields.number_or("output_lead_ohm", part.output_lead_ohm, 1e-4, 1000);
    part.output_pad_db = fields.number_or("output_pad_db", part.output_pad_db, 0, 80);
    part.amps_per_volt = fields.maybe_number("amps_per_volt", 1e-3, no_limit);
    fields.finish();
    return part;
}

}  // namespace hushtrace::simulated
