#include <fmt/format.h>

#include <cmath>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/error.hpp"
#include "write_parts.hpp"

namespace hushtrace {
namespace {

[[noreturn]] void refuse(std::string_view name, std::string_view why) {
    throw Error(ErrorKind::invalid_request, fmt::format("{}: {}", name, why));
}

/// Whole numbers are written without ".0", as a person would.
Json number(std::string_view name, double value) {
    if (!std::isfinite(value)) refuse(name, "is no finite number");
    if (value == std::floor(value) && std::abs(value) < 1e15) return Json(static_cast<std::int64_t>(value));
    return Json(value);
}

Json text(std::string_view name, const std::string& value) {
    if (!is_utf8(value)) refuse(name, "is not UTF-8 text");
    if (value.find('\0') != std::string::npos) refuse(name, "holds a NUL character");
    return Json(value);
}

/// One object being written.
class Out {
public:
    void put(const char* name, double value) { json_[name] = number(name, value); }
    void put(const char* name, const std::string& value) { json_[name] = text(name, value); }
    void put(const char* name, std::string_view value) { put(name, std::string(value)); }
    void put(const char* name, bool value) { json_[name] = value; }
    void put(const char* name, Json value) { json_[name] = std::move(value); }
    template <class Value>
    void maybe(const char* name, const std::optional<Value>& value) {
        if (value) put(name, *value);
    }
    void maybe(const char* name, const std::optional<int>& value) {
        if (value) put(name, static_cast<double>(*value));
    }
    template <class Word>
    void word(const char* name, Word value) {
        put(name, to_word(value));
    }
    template <class Word>
    void maybe_word(const char* name, const std::optional<Word>& value) {
        if (value) word(name, *value);
    }
    template <class Word>
    void words(const char* name, const std::vector<Word>& values) {
        Json list = Json::array();
        for (const Word value : values) list.push_back(std::string(to_word(value)));
        put(name, std::move(list));
    }
    template <class Values>
    void numbers(const char* name, const Values& values) {
        Json list = Json::array();
        for (const double value : values) list.push_back(number(name, value));
        put(name, std::move(list));
    }
    void numbers_or_nulls(const char* name, const std::vector<std::optional<double>>& values) {
        Json list = Json::array();
        for (const auto& value : values) list.push_back(value ? number(name, *value) : Json());
        put(name, std::move(list));
    }
    void texts(const char* name, const std::vector<std::string>& values) {
        Json list = Json::array();
        for (const std::string& value : values) list.push_back(text(name, value));
        put(name, std::move(list));
    }
    /// An object of which nothing is known is left out.
    void inner(const char* name, Out& value) {
        if (!value.json_.empty()) put(name, std::move(value.json_));
    }
    Json take() { return std::move(json_); }

private:
    Json json_ = Json::object();
};

void put_conditions(Out& out, const Conditions& conditions) {
    if (conditions.point != Point::amp_input) out.word("point", conditions.point);
    out.word("engine", conditions.engine);
    out.maybe("rpm", conditions.rpm);
    out.maybe_word("source", conditions.source);
    out.maybe_word("input", conditions.input);
    out.maybe("volume", conditions.volume);
    out.maybe_word("amplifier", conditions.amplifier);
    out.words("hookup", conditions.hookup);
    if (!conditions.loads.empty()) out.texts("loads", conditions.loads);
    if (!conditions.attached.empty()) {
        Json list = Json::array();
        for (const AttachedDevice& one : conditions.attached) {
            Out item;
            item.put("device", one.device);
            item.word("powered_from", one.powered_from);
            list.push_back(item.take());
        }
        out.put("attached", std::move(list));
    }
    out.maybe_word("laptop", conditions.laptop);
    out.maybe("at_amplifier", conditions.at_amplifier);
}

void put_waveform(Out& out, const Sine& sine) {
    out.put("frequency_hz", sine.frequency_hz);
    out.put("level_dbfs", sine.level_dbfs);
}
void put_waveform(Out& out, const Stepped& stepped) {
    out.put("frequency_hz", stepped.frequency_hz);
    out.numbers("levels_dbfs", stepped.levels_dbfs);
    out.put("step_s", stepped.step_s);
}
void put_waveform(Out& out, const TwoTone& two) {
    out.numbers("frequencies_hz", two.frequencies_hz);
    out.numbers("levels_dbfs", two.levels_dbfs);
}
void put_waveform(Out& out, const Sweep& sweep) {
    out.put("from_hz", sweep.from_hz);
    out.put("to_hz", sweep.to_hz);
    out.put("duration_s", sweep.duration_s);
    out.put("level_dbfs", sweep.level_dbfs);
}
void put_waveform(Out& out, const Pink& pink) {
    out.put("level_dbfs", pink.level_dbfs);
    if (pink.seed != Pink{}.seed) out.put("seed", static_cast<double>(pink.seed));
}
void put_waveform(Out& out, const NearSilence& silence) {
    if (silence.seed != NearSilence{}.seed) out.put("seed", static_cast<double>(silence.seed));
}
void put_waveform(Out& out, const PolarityPulse& pulse) {
    out.put("level_dbfs", pulse.level_dbfs);
    if (pulse.spacing_s != PolarityPulse{}.spacing_s) out.put("spacing_s", pulse.spacing_s);
    if (pulse.width_s != PolarityPulse{}.width_s) out.put("width_s", pulse.width_s);
}

Json json_of(const VehicleData& vehicle) {
    Out out, alternator;
    if (!vehicle.description.empty()) out.put("description", vehicle.description);
    out.word("drive", vehicle.drive);
    out.maybe("supply_v", vehicle.supply_v);
    out.maybe("cylinders", vehicle.cylinders);
    out.maybe("strokes", vehicle.strokes);
    out.maybe("mains_hz", vehicle.mains_hz);
    alternator.maybe("pole_pairs", vehicle.alternator.pole_pairs);
    alternator.maybe("pulley_ratio", vehicle.alternator.pulley_ratio);
    alternator.maybe("rated_a", vehicle.alternator.rated_a);
    out.inner("alternator", alternator);
    return out.take();
}

void put_source(Out& job, const SourceData& source) {
    Out out;
    if (!source.description.empty()) out.put("description", source.description);
    out.maybe("preout_v", source.preout_v);
    out.maybe("volume_top", source.volume_top);
    out.maybe("factory", source.factory);
    out.maybe_word("output", source.output);
    job.inner("source", out);
}

Json json_of(const AmplifierData& amplifier) {
    Out out;
    if (!amplifier.name.empty()) out.put("name", amplifier.name);
    out.maybe("power_w", amplifier.power_w);
    out.maybe("load_ohm", amplifier.load_ohm);
    if (amplifier.sensitivity_v) out.numbers("sensitivity_v", *amplifier.sensitivity_v);
    out.maybe("max_current_a", amplifier.max_current_a);
    out.maybe("bridged_output", amplifier.bridged_output);
    out.maybe_word("input", amplifier.input);
    if (!amplifier.channels.empty()) out.words("channels", amplifier.channels);
    out.maybe_word("dial_law", amplifier.dial_law);
    if (amplifier.dial_marks) out.numbers("dial_marks", *amplifier.dial_marks);
    out.maybe("dial_turn_deg", amplifier.dial_turn_deg);
    out.maybe("allowance_db", amplifier.allowance_db);
    out.maybe("input_noise_dbv", amplifier.input_noise_dbv);
    if (amplifier.converter) {
        Out converter;
        converter.maybe("loss_db", amplifier.converter->loss_db);
        converter.maybe("max_input_v", amplifier.converter->max_input_v);
        converter.maybe("max_output_v", amplifier.converter->max_output_v);
        converter.maybe("isolating", amplifier.converter->isolating);
        out.put("converter", converter.take());
    }
    return out.take();
}

Json json_of(const SpeakerData& speaker) {
    Out out;
    if (!speaker.amplifier.empty()) out.put("amplifier", speaker.amplifier);
    out.maybe("power_w", speaker.power_w);
    out.maybe("sensitivity_db_2v83_1m", speaker.sensitivity_db_2v83_1m);
    out.maybe("distance_m", speaker.distance_m);
    out.maybe("impedance_ohm", speaker.impedance_ohm);
    out.maybe_word("kind", speaker.kind);
    return out.take();
}

Json json_of(const SupplyBranch& branch) {
    Out out;
    if (!branch.name.empty()) out.put("name", branch.name);
    out.maybe("length_m", branch.length_m);
    out.maybe("area_mm2", branch.area_mm2);
    out.maybe("current_a", branch.current_a);
    return out.take();
}

template <class Items>
void put_list(Out& out, const char* name, const Items& items) {
    if (items.empty()) return;
    Json list = Json::array();
    for (const auto& item : items) list.push_back(json_of(item));
    out.put(name, std::move(list));
}

void put_cables(Out& job, const CableData& cables) {
    Out out;
    out.maybe("signal_m", cables.signal_m);
    out.maybe("separation_m", cables.separation_m);
    out.maybe("parallel_m", cables.parallel_m);
    out.maybe("crossing_deg", cables.crossing_deg);
    out.maybe("above_metal_m", cables.above_metal_m);
    job.inner("cables", out);
}

void put_supply(Out& job, const SupplyData& supply) {
    Out out;
    out.maybe("length_m", supply.length_m);
    out.maybe("area_mm2", supply.area_mm2);
    out.maybe_word("conductor", supply.conductor);
    out.maybe("temperature_c", supply.temperature_c);
    out.maybe("allowed_drop_v", supply.allowed_drop_v);
    put_list(out, "branches", supply.branches);
    job.inner("supply", out);
}

void put_limits(Out& out, const Limits& limits) {
    Out inner;
    bool any = limits.same_polarity.has_value();
    for (const LimitField& one : kLimitFields) {
        if (!(limits.*one.value)) continue;
        any = true;
        inner.maybe(std::string(one.name).c_str(), limits.*one.value);
    }
    inner.maybe("same_polarity", limits.same_polarity);
    if (any) out.inner("limits", inner);
}

void put_interface(Out& job, const InterfaceData& interface) {
    Out out;
    if (!interface.volts_full_scale.empty())
        out.numbers_or_nulls("volts_full_scale", interface.volts_full_scale);
    if (!interface.volts_full_scale_sd_db.empty())
        out.numbers_or_nulls("volts_full_scale_sd_db", interface.volts_full_scale_sd_db);
    for (const OwnNoiseField& field : kOwnNoiseFields)
        if (!(interface.*field.values).empty())
            out.numbers_or_nulls(std::string(field.name).c_str(), interface.*field.values);
    out.maybe_word("input", interface.input);
    out.maybe("amps_per_volt", interface.amps_per_volt);
    job.inner("interface", out);
}

}  // namespace

Json json_of(const PlayedTone& tone) {
    Out out;
    out.put("kind", tone_kind_word(tone.waveform));
    std::visit([&](const auto& waveform) { put_waveform(out, waveform); }, tone.waveform);
    out.maybe_word("via", tone.via);
    out.maybe_word("channel", tone.only);
    out.maybe("burst_s", tone.burst_s);
    return out.take();
}

Json json_of(const Take& take) {
    Out out;
    out.put("file", take.file);
    out.words("channels", take.channels);
    put_conditions(out, take.conditions);
    out.maybe("rpm_log", take.rpm_log);
    if (!take.attenuation_db.empty()) out.numbers("attenuation_db", take.attenuation_db);
    if (take.tone) out.put("tone", json_of(*take.tone));
    if (!take.volume_steps.empty()) out.numbers("volume_steps", take.volume_steps);
    if (!take.marks.empty()) {
        Json list = Json::array();
        for (const Mark& mark : take.marks) {
            Out item;
            item.put("time_s", mark.time_s);
            item.put("text", mark.text);
            list.push_back(item.take());
        }
        out.put("marks", std::move(list));
    }
    out.maybe("recorded_at", take.recorded_at);
    out.maybe("after_change", take.after_change);
    if (!take.faults.empty()) out.words("faults", take.faults);
    return out.take();
}

Json json_of(const Observation& observation) {
    Out out;
    out.put("what", observation.what);
    out.maybe("value", observation.value);
    out.maybe("value", observation.heard);
    if (!observation.unit.empty()) out.put("unit", observation.unit);
    if (observation.declined) out.put("declined", true);
    out.maybe("reason", observation.reason);
    put_conditions(out, observation.conditions);
    out.maybe("after_change", observation.after_change);
    if (observation.tone) out.put("tone", json_of(*observation.tone));
    out.maybe("meter_good_to_hz", observation.meter_good_to_hz);
    out.maybe("after_take", observation.after_take);
    return out.take();
}

Json json_of(const Job& job) {
    Out out;
    out.put("schema", std::string_view("hushtrace.job/1"));
    out.put("title", job.title);
    out.maybe("date", job.date);
    out.maybe("complaint", job.complaint);
    out.put("vehicle", json_of(job.vehicle));
    put_source(out, job.source);
    put_list(out, "amplifiers", job.amplifiers);
    put_list(out, "speakers", job.speakers);
    put_cables(out, job.cables);
    put_supply(out, job.supply);
    put_interface(out, job.interface);
    put_limits(out, job.limits);
    if (!job.labour_min.empty()) {
        Out labour;
        for (const auto& [word, minutes] : job.labour_min) labour.put(word.c_str(), minutes);
        out.inner("labour_min", labour);
    }
    put_list(out, "takes", job.takes);
    put_list(out, "observations", job.observations);
    return out.take();
}

std::string job_text(const Job& job) {
    return pretty(json_of(job));
}
std::string take_text(const Take& take) {
    return on_one_line(json_of(take));
}
std::string observation_text(const Observation& observation) {
    return on_one_line(json_of(observation));
}
std::string tone_text(const PlayedTone& tone) {
    return on_one_line(json_of(tone));
}

}  // namespace hushtrace
