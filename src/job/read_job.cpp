#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <set>

#include "hushtrace/vehicle/entry_tables.hpp"
#include "hushtrace/vehicle/supply_wiring.hpp"
#include "hushtrace/job/job_text.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "read_parts.hpp"

namespace hushtrace {
namespace {

constexpr std::string_view kSchema = "hushtrace.job/1";
constexpr std::size_t kMostChannels = 64;  // as many as a take may have

/// "hushtrace.job/2" and up: a number above ours, in plain digits.
bool is_newer(const std::string& schema) {
    const auto slash = kSchema.find('/') + 1;
    const std::string number = schema.compare(0, slash, kSchema, 0, slash) == 0 ? schema.substr(slash) : std::string();
    return !number.empty() && number.find_first_not_of("0123456789") == std::string::npos && number.front() != '0' && number != kSchema.substr(slash);
}

void read_schema(Fields& fields) {
    const auto schema = fields.text("schema");
    if (!schema) fields.refuse("schema", fmt::format("is missing; a job says \"schema\": \"{}\"", kSchema));
    if (*schema == kSchema) return;
    fields.refuse("schema", is_newer(*schema)
                                ? fmt::format("{} was written by a newer program; use that one (this one reads '{}')", in_quotes(*schema), kSchema)
                                : fmt::format("{} can't be read; this program reads '{}'", in_quotes(*schema), kSchema));
}

bool is_date(const std::string& text) {
    if (text.size() != 10) return false;
    for (std::size_t i = 0; i < text.size(); ++i)
        if (i == 4 || i == 7 ? text[i] != '-' : text[i] < '0' || text[i] > '9') return false;
    return true;
}

constexpr double kLowestSupply_v = 6.0, kHighestSupply_v = 32.0;   // old vehicles' 6 V; 24 V while it charges

VehicleData read_vehicle(Fields& fields) {
    VehicleData vehicle;
    vehicle.description = fields.text("description").value_or("");
    vehicle.drive = fields.word<Drive>("drive").value_or(Drive::combustion);
    vehicle.supply_v = fields.number("supply_v", kPositive);
    if (vehicle.supply_v && (*vehicle.supply_v < kLowestSupply_v || *vehicle.supply_v > kHighestSupply_v))
        fields.refuse("supply_v", "the vehicle's 12 or 24 V side is meant, never a high-voltage battery, which is no supply for an amplifier");
    vehicle.cylinders = fields.whole_number("cylinders", 0, 64);
    vehicle.strokes = fields.whole_number("strokes", 2, 4);
    if (vehicle.strokes == 3) fields.refuse("strokes", "an engine has 2 or 4");
    vehicle.mains_hz = fields.number("mains_hz", kPositive);
    fields.object("alternator", [&](Fields& inner) {
        vehicle.alternator.pole_pairs = inner.number("pole_pairs", kPositive);
        vehicle.alternator.pulley_ratio = inner.number("pulley_ratio", kPositive);
        vehicle.alternator.rated_a = inner.number("rated_a", kPositive);
    });
    return vehicle;
}

SourceData read_source(Fields& fields) {
    SourceData source;
    source.description = fields.text("description").value_or("");
    source.preout_v = fields.number("preout_v", kPositive);
    source.volume_top = fields.number("volume_top");
    source.factory = fields.yes_or_no("factory");
    source.output = fields.word<OutputKind>("output");
    return source;
}

// Beyond these no amplifier in a vehicle goes: a slip of the pen, a wrong unit.
constexpr Range kPower_w{0, 1e5, false};
constexpr Range kLoad_ohm{0, 1e4, false};
constexpr Range kInput_v{0, 1000, false};
constexpr Range kConverter_db{-40, 60, true};
constexpr double kSameRatio_db = 0.1;

/// How far a converter brings the level down, in dB or as a ratio.
std::optional<double> read_ratio(Fields& fields) {
    const auto loss_db = fields.number("loss_db", kConverter_db);
    const auto step_down = fields.number("step_down", {0.01, 1000, true});
    if (!step_down) return loss_db;
    const double as_db = decibels_from_amplitude(*step_down);
    if (loss_db && std::abs(*loss_db - as_db) > kSameRatio_db)
        fields.refuse("step_down", fmt::format("{} to 1 is {:.1f} dB, but loss_db says {}", *step_down, as_db, *loss_db));
    return loss_db ? loss_db : std::optional(as_db);
}

ConverterData read_converter(Fields& fields) {
    ConverterData converter;
    converter.loss_db = read_ratio(fields);
    converter.max_input_v = fields.number("max_input_v", kInput_v);
    converter.max_output_v = fields.number("max_output_v", kInput_v);
    converter.isolating = fields.yes_or_no("isolating");
    return converter;
}

void read_dial(Fields& fields, AmplifierData& amplifier) {
    amplifier.dial_law = fields.word<DialLaw>("dial_law");
    const auto marks = fields.numbers("dial_marks");
    if (!marks.empty()) {
        if (marks.size() != 2 || marks[0] == marks[1])
            fields.refuse("dial_marks", "two different numbers are wanted: the dial's at least gain, and at most");
        amplifier.dial_marks = {marks[0], marks[1]};
    }
    amplifier.dial_turn_deg = fields.number("dial_turn_deg", {0, 3600, false});
}

AmplifierData read_amplifier(Fields& fields) {
    AmplifierData amplifier;
    amplifier.name = fields.text("name").value_or("");
    amplifier.power_w = fields.number("power_w", kPower_w);
    amplifier.load_ohm = fields.number("load_ohm", kLoad_ohm);
    const auto range = fields.numbers("sensitivity_v", kInput_v);
    if (!range.empty()) {
        if (range.size() != 2)
            fields.refuse("sensitivity_v", "two numbers are wanted, the lowest and the highest");
        if (range[0] > range[1]) fields.refuse("sensitivity_v", "the lowest comes first");
        amplifier.sensitivity_v = {range[0], range[1]};
    }
    read_dial(fields, amplifier);
    amplifier.allowance_db = fields.number("allowance_db", {0, kMostAllowance_db, true});
    amplifier.input_noise_dbv = fields.number("input_noise_dbv", {-200, 0, true});
    amplifier.channels = fields.words<Channel>("channels");
    for (auto one = amplifier.channels.begin(); one != amplifier.channels.end(); ++one) {
        if (!carries_signal(*one))
            fields.refuse("channels", fmt::format("'{}' carries no music", to_word(*one)));
        if (std::find(amplifier.channels.begin(), one, *one) != one)
            fields.refuse("channels", fmt::format("'{}' comes twice", to_word(*one)));
    }
    fields.object("converter", [&](Fields& inner) { amplifier.converter = read_converter(inner); });
    amplifier.max_current_a = fields.number("max_current_a", kPositive);
    amplifier.bridged_output = fields.yes_or_no("bridged_output");
    amplifier.input = fields.word<OutputKind>("input");
    return amplifier;
}

SpeakerData read_speaker(Fields& fields) {
    SpeakerData speaker;
    speaker.amplifier = fields.text("amplifier").value_or("");
    speaker.power_w = fields.number("power_w", kPower_w);
    speaker.impedance_ohm = fields.number("impedance_ohm", kLoad_ohm);
    speaker.kind = fields.word<SpeakerKind>("kind");
    speaker.sensitivity_db_2v83_1m = fields.number("sensitivity_db_2v83_1m");
    speaker.distance_m = fields.number("distance_m", kPositive);
    return speaker;
}

CableData read_cables(Fields& fields) {
    CableData cables;
    cables.signal_m = fields.number("signal_m", kNotNegative);
    cables.separation_m = fields.number("separation_m", kNotNegative);
    cables.parallel_m = fields.number("parallel_m", kNotNegative);
    cables.crossing_deg = fields.number("crossing_deg", {0, 180, true});
    cables.above_metal_m = fields.number("above_metal_m", kNotNegative);
    return cables;
}

SupplyData read_supply(Fields& fields) {
    SupplyData supply;
    supply.length_m = fields.number("length_m", kNotNegative);
    supply.area_mm2 = fields.number("area_mm2", kPositive);
    supply.conductor = fields.word<Conductor>("conductor");
    supply.temperature_c = fields.number("temperature_c", {kLeastCable_c, kMostCable_c, true});
    supply.allowed_drop_v = fields.number("allowed_drop_v", kPositive);
    std::set<std::string> names;
    fields.each("branches", [&](Fields& item, std::size_t) {
        SupplyBranch branch;
        branch.name = item.text("name").value_or("");
        if (!branch.name.empty() && !names.insert(branch.name).second)
            item.refuse("name", in_quotes(branch.name) + " belongs to an earlier branch already");
        branch.length_m = item.number("length_m", kNotNegative);
        branch.area_mm2 = item.number("area_mm2", kPositive);
        branch.current_a = item.number("current_a", kNotNegative);
        supply.branches.push_back(std::move(branch));
    });
    return supply;
}

InterfaceData read_interface(Fields& fields) {
    InterfaceData interface;
    interface.volts_full_scale = fields.numbers_or_nulls("volts_full_scale", kPositive);
    interface.volts_full_scale_sd_db = fields.numbers_or_nulls("volts_full_scale_sd_db", kNotNegative);
    const auto check_count = [&fields](std::string_view name) {
        if (const Json* list = fields.find(name); list && list->size() > kMostChannels)
            fields.refuse(name, fmt::format("{} values; an interface has at most {} inputs", list->size(),
                                            kMostChannels));
    };
    check_count("volts_full_scale");
    check_count("volts_full_scale_sd_db");
    for (const OwnNoiseField& field : kOwnNoiseFields) {
        interface.*field.values = fields.numbers_or_nulls(field.name, {-400, 200, true});
        check_count(field.name);
    }
    interface.input = fields.word<InterfaceInput>("input");
    interface.amps_per_volt = fields.number("amps_per_volt", kPositive);
    return interface;
}

void read_takes(Fields& fields, Job& job) {
    std::set<std::string> files;
    fields.each("takes", [&](Fields& item, std::size_t) {
        Take take = read_take(item);
        if (!files.insert(std::filesystem::path(take.file).lexically_normal().string()).second)
            item.refuse("file", in_quotes(take.file) + " belongs to an earlier take already");
        job.takes.push_back(std::move(take));
    });
}

}  // namespace

Job parse_job(std::string_view text, std::vector<Warning>& warnings, std::string_view label) {
    const Json json = parse_safely(text, label);
    JsonReading reading{std::string(label), warnings};
    Fields fields(json, "", reading);
    Job job;
    read_schema(fields);
    job.title = fields.text("title").value_or("");
    job.date = fields.text("date");
    if (job.date && !is_date(*job.date))
        reading.warn("date_form", "date", in_quotes(*job.date) + " is not written like 2026-01-31");
    job.complaint = fields.text("complaint");
    fields.object("vehicle", [&](Fields& inner) { job.vehicle = read_vehicle(inner); });
    fields.object("source", [&](Fields& inner) { job.source = read_source(inner); });
    fields.each("amplifiers",
                [&](Fields& item, std::size_t) { job.amplifiers.push_back(read_amplifier(item)); });
    fields.each("speakers", [&](Fields& item, std::size_t) { job.speakers.push_back(read_speaker(item)); });
    fields.object("cables", [&](Fields& inner) { job.cables = read_cables(inner); });
    fields.object("supply", [&](Fields& inner) { job.supply = read_supply(inner); });
    fields.object("interface", [&](Fields& inner) { job.interface = read_interface(inner); });
    fields.object("limits", [&](Fields& inner) {
        for (const LimitField& one : kLimitFields)
            job.limits.*one.value = inner.number(one.name, {one.lowest, one.highest, one.lowest_itself});
        job.limits.same_polarity = inner.yes_or_no("same_polarity");
        const auto &from = job.limits.response_from_hz, &to = job.limits.response_to_hz;
        if (from && to && *to <= *from) inner.refuse("response_to_hz", "lies at or below response_from_hz");
    });
    fields.object("labour_min", [&](Fields& inner) {
        constexpr double day_min = 1440;
        const auto read = [&](std::string_view word) {
            if (const auto minutes = inner.number(word, {0, day_min, true})) job.labour_min[std::string(word)] = *minutes;
        };
        for (const EntryTest test : all_entry_tests()) read(word_of(test));
        read(kReachSource_word);
    });
    read_takes(fields, job);
    fields.each("observations",
                [&](Fields& item, std::size_t) { job.observations.push_back(read_observation(item)); });
    fields.finish();
    if (reading.unknown_fields > kMostUnknownShown)
        warnings.push_back({"unknown_field",
                            fmt::format("{}: {} more fields that we don't know; they are kept", label,
                                        reading.unknown_fields - kMostUnknownShown),
                            std::nullopt});
    return job;
}

}  // namespace hushtrace
