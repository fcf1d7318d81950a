#pragma once
#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/signal/conditions.hpp"

/// A simulated vehicle's description: the fields of a file in signals/, schema "hushtrace.vehicle/1", as
/// types. signals/README.md explains each field; names and units are those of the file.
namespace hushtrace::simulated {

struct RegulatorPart {
    double pwm_hz = 0;
    double modulation = 0;      ///< depth by which the chopped field modulates the ripple (0..1)
    double field_ripple_a = 0;  ///< the field current's own ripple at pwm_hz [A peak]
};
enum class AlternatorFault { none, diode_open, phase_open };
struct AlternatorPart {
    int pole_pairs = 6;
    double pulley_ratio = 2.5;
    double rated_a = 100;
    int sets = 1;                          ///< three-phase sets, 30 electrical degrees apart when two
    double set_imbalance = 0.04;           ///< what the two sets leave of order 6 (share)
    double phase_unbalance_percent = 0.5;  ///< by how much one phase is weak
    AlternatorFault fault = AlternatorFault::none;
    std::optional<RegulatorPart> regulator;
    bool ratio_known = false;  ///< whether the job's description tells pole pairs and ratio
};
struct EnginePart {
    double idle_rpm = 750, raised_rpm = 2000, sweep_top_rpm = 3500, sweep_s = 20;
    double idle_wander_percent = 1.2, held_wander_percent = 0.4;  ///< rms
    double firing_ripple_percent = 1.0;                           ///< of the speed, at idle
};
struct IgnitionPart {
    double pulse_a = 0;       ///< peak of the current pulse on the supply [A]
    double pulse_lead_v = 0;  ///< peak of what each pulse puts straight into the lead [V]
    double ring_hz = 7000, ring_decay_s = 0.00012;
    double jitter_deg = 0.4;      ///< of the crank, sd
    double scatter_percent = 12;  ///< of the amplitude, sd
};
struct VehiclePart {
    std::string description;
    Drive drive = Drive::combustion;
    double supply_v = 12;
    int cylinders = 4, strokes = 4;
    double mains_hz = 50;
    double base_load_a = 18;                    ///< what the running engine draws by itself
    double battery_mohm = 8, battery_uh = 0.8;  ///< battery and its cables, as the alternator sees them
    double body_mohm = 0.1;  ///< of the body between the source's ground and the amplifier's
    EnginePart engine;
    AlternatorPart alternator;
    std::optional<IgnitionPart> ignition;
};
struct MotorPart {
    double bars = 8, speed_rps = 80;  ///< commutator bars, turns per second
    double ripple_a = 0.2;            ///< peak of the commutation ripple
    double drift_percent = 1.0;       ///< slow drift of the speed, rms
};
struct PwmPart {
    double frequency_hz = 200, duty = 0.5;
};
struct LoadPart {
    std::string name;
    double current_a = 0;
    bool always_on = false;  ///< runs whenever the engine does (and with the key on)
    double dash_share = 0;   ///< share of its return current that flows through the source's ground joint
    std::optional<PwmPart> pwm;
    std::optional<MotorPart> motor;
};
struct DevicePart {  ///< a charger, a phone on a charger: between the socket and the source's input
    std::string device;
    double current_a = 1;
    double socket_ground_mohm = 5;  ///< the socket's own ground joint
    double aux_shield_ohm = 0.2;    ///< shield of the lead from device to source; its drop enters the input
    double link_ohm = 0.3;          ///< the rest of the way from the socket's ground to that shield
    double hash_mv = 0;             ///< converter's ground bounce, peak [mV]
    double hash_hz = 5200;          ///< its pulse rate at light load
};
struct AntennaPart {
    double shield_ohm = 0.5;  ///< from the source's case to the antenna's base
    double base_mohm = 0.1;   ///< body between there and the source's ground
};
struct ToneLine {
    double frequency_hz = 0, level_dbv = -100;
};
enum class FilterKind { peak, low_shelf, high_shelf, high_pass, low_pass, all_pass };
struct FilterPart {  ///< of an equaliser or a crossover
    FilterKind kind = FilterKind::peak;
    double frequency_hz = 1000;
    double gain_db = 0;           ///< of peaks and shelves
    double q = 0.7071067811865476;  ///< of peaks, shelves and second-order all-passes
    int order = 2;                ///< of high-, low- and all-passes
    bool linkwitz_riley = false;  ///< else Butterworth
};
struct VolumeBassPart {  ///< a low shelf that a factory source sets by its volume
    double frequency_hz = 100, q = 0.7071067811865476;
    std::vector<std::pair<double, double>> gain_db;  ///< (volume, gain), rising volumes
};
struct LimiterPart {
    double threshold_v = 2;  ///< rms of a sine at the output
    double ratio = 20;       ///< dB in over dB out above it
    double attack_ms = 5, release_ms = 200;
};
struct SourceChannel {
    double gain_db = 0;
    bool inverted = false;
    double delay_ms = 0;
    double positive_rail_v = 4, negative_rail_v = -4;  ///< [V peak]
    double knee = 0;  ///< half width of the rounded corner, share of the rail
    std::vector<FilterPart> filters;  ///< of this output alone: crossover, all-pass
};
struct FurtherOutput {
    Channel channel = Channel::sub;
    SourceChannel part;
};
struct SourcePart {
    std::string description;
    double preout_v = 4;  ///< as its label says
    bool factory = false;
    double volume_top = 40;
    std::vector<std::pair<double, double>> volume_gain_db;  ///< (volume, gain re the top), rising
    double full_scale_v = 4;       ///< rms of a 0 dBFS sine at the top volume, if no rail stood in the way
    double line_full_scale_v = 2;  ///< rms at its line input that it takes as 0 dBFS
    std::array<SourceChannel, 2> channels;
    std::vector<FurtherOutput> further;  ///< rear_left, rear_right, center, sub
    std::vector<FilterPart> equaliser;   ///< of all outputs, ahead of the volume control
    /// A sine of this level behind the equaliser [dBFS] just touches the end of its digital scale; unset: it has room.
    std::optional<double> digital_ceiling_dbfs;
    std::optional<VolumeBassPart> volume_bass;
    std::optional<LimiterPart> limiter;
    double crosstalk_db = -75;
    double second_harmonic_percent = 0.002, third_harmonic_percent = 0.004;  ///< at the rail
    double noise_dbv = -98;          ///< at the output, whatever the volume, 20 Hz..20 kHz
    double input_noise_dbfs = -100;  ///< before the volume control
    double output_ohm = 150;
    double clock_ppm = 25;
    std::optional<double> mutes_after_s;  ///< of digital silence
    double shell_to_case_ohm = 0.02;
    double ground_mohm = 4;                    ///< its ground joint
    double supply_rejection_db = 90;           ///< at low frequencies
    double supply_rejection_corner_hz = 3000;  ///< from here on it gets worse by 6 dB an octave
    bool supply_before_volume = false;
    std::vector<ToneLine> internal_lines;
    std::optional<AntennaPart> antenna;
};
enum class ContactPlace { shell_at_source, shell_at_amp, core_at_source };
struct ContactPart {               ///< a bad joint in one of the lead's plugs
    double ohm = 0;                ///< mean of what it adds
    double wander_percent = 0;     ///< of that, slow, rms
    double events_per_minute = 0;  ///< sudden changes, as something moves
    ContactPlace place = ContactPlace::shell_at_source;
    std::array<bool, 2> sides = {true, true};  ///< left, right
};
struct LeadPart {
    double signal_m = 5, separation_m = 0.3, parallel_m = 3, crossing_deg = 0, above_metal_m = 0.01;
    double shield_ohm = 0.1;        ///< end to end with both plugs
    double core_offset_mm = 0.05;   ///< distance of the core's magnetic centre from the shield's
    double stray_pf = 0;            ///< supply cable to core, whole length (an open or thin shield)
    double right_over_left = 0.94;  ///< what the right lead picks up, against the left
    bool swapped = false;           ///< the left lead is plugged into the source's right jack and the reverse
    std::optional<ContactPart> contact;
};
struct FeedPart {
    double length_m = 5.5, area_mm2 = 21.2;
    Conductor conductor = Conductor::copper;
    double temperature_c = 40;
    std::optional<double> allowed_drop_v;
};
struct AmplifierPart {
    double input_ohm = 15000;
    double shell_to_ground_ohm = 470;  ///< isolation of the input shell from the amplifier's ground
    double ground_mohm = 1;            ///< its ground joint
    double capacitor_mf = 6, capacitor_mohm = 15;
    double idle_current_a = 1.5;
    double gain_db = 26;               ///< input to speaker terminals
    double noise_dbv = -110;           ///< of its own, referred to its input, 20 Hz..20 kHz
    double supply_rejection_db = 120;  ///< ripple at its supply terminals over what of it is at its output
    double supply_rejection_corner_hz = 3000;  ///< from here on it gets worse by 6 dB an octave
    double pin1_ohm =
        0;  ///< the part of shell_to_ground_ohm that the signal's own return shares behind the input
    double rail_v = 40;  ///< where its output stops [V peak]
};
struct SpeakerLeadsPart {  ///< from the amplifier to the speakers, along a cable that carries ripple
    double length_m = 4, separation_m = 0.1;
    double spacing_mm = 4;  ///< between the two wires of a pair; what a tight twist leaves of it is far less
    bool beside_feed = true;       ///< else beside the battery's cable
    double right_over_left = 0.9;  ///< what the right pair picks up, against the left
};
struct AmplifierLabel {
    std::string name;
    std::optional<double> power_w, load_ohm;
    std::optional<std::array<double, 2>> sensitivity_v;
    std::optional<double> max_current_a;
    bool bridged_output = false;
};
struct SpeakerLabel {
    std::string amplifier;
    std::optional<double> power_w, sensitivity_db_2v83_1m, distance_m;
};
struct LaptopPart {
    double leakage_ua = 60;            ///< of its adapter into the interface's ground, at the mains frequency
    double harmonic_share = 0.4;       ///< third harmonic over the first; the others follow
    std::optional<double> earth_ohm;   ///< of the loop when adapter and vehicle are both earthed
    double earth_difference_mv = 0;    ///< between those two earths, rms at the mains frequency
    double vehicle_adapter_ohm = 0.1;  ///< from the socket's ground when fed from the vehicle
    double socket_ground_mohm = 0;     ///< that ground's own joint, through which the adapter's ripple current flows
};
struct InterfacePart {
    double sample_rate_hz = 48000;
    std::array<double, 2> volts_full_scale = {7, 7};  ///< volts at sample value 1.0
    double own_noise_dbv = -104;                      ///< 20 Hz..20 kHz
    double clock_ppm = -12;
    double output_full_scale_v = 1.9;  ///< rms of a 0 dBFS sine at its output
    InterfaceInput input = InterfaceInput::grounded;
    double y_lead_ohm = 0.05;             ///< shield of the Y lead
    double output_lead_ohm = 0.1;         ///< shield of the lead from its output to the source
    double output_pad_db = 20;            ///< loss of the pad before its inputs at the amplifier's output
    std::optional<double> amps_per_volt;  ///< of a current clamp on the supply cable
};
struct Scenario {
    std::string title, complaint;
    VehiclePart vehicle;
    std::vector<LoadPart> loads;
    std::vector<DevicePart> devices;
    SourcePart source;
    LeadPart lead;
    FeedPart feed;
    AmplifierPart amplifier;
    std::optional<SpeakerLeadsPart> speaker_leads;
    std::vector<AmplifierLabel> amplifiers;
    std::vector<SpeakerLabel> speakers;
    LaptopPart laptop;
    InterfacePart interface;
};

/// Reads and checks a scenario file.
///   throws Error file_unreadable: missing, a folder, a pipe, too large; invalid_input: not JSON, an unknown,
///   missing or repeated field, a wrong type, a number out of range; the text names file and field
Scenario read_scenario(const std::filesystem::path& file);

/// job.json's text for this vehicle: what its owner could read off labels and a tape measure.
std::string describe_job(const Scenario& scenario);

}  // namespace hushtrace::simulated
