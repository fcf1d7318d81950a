#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/job/job_text.hpp"
#include "read_parts.hpp"

namespace hushtrace {
namespace {

constexpr Range kLevel{-300, 0, true};
constexpr Range kFrequency{0, 1e6, false};
constexpr Range kDuration{0, 1e6, false};

double frequency(Fields& fields, std::string_view name, double usual_hz) {
    if (const auto given = fields.number(name, kFrequency)) return *given;
    fields.reading().warn("tone_unstated", fields.path_of(name),
                          fmt::format("is not stated; {} Hz is assumed", usual_hz));
    return usual_hz;
}

double level(Fields& fields) {
    if (const auto given = fields.number("level_dbfs", kLevel)) return *given;
    fields.reading().warn("tone_unstated", fields.path_of("level_dbfs"), "is not stated; 0 dBFS is assumed");
    return 0;
}

std::array<double, 2> two(Fields& fields, std::string_view name, Range range) {
    const auto given = fields.numbers(name, range);
    if (given.size() != 2) fields.refuse(name, fmt::format("two numbers are wanted, not {}", given.size()));
    return {given[0], given[1]};
}

std::uint64_t seed(Fields& fields) {
    return static_cast<std::uint64_t>(
        fields.whole_number("seed", 0, std::numeric_limits<int>::max()).value_or(1));
}

Waveform read_waveform(Fields& fields, const std::string& kind) {
    if (kind == "sine") {
        Sine sine;
        sine.frequency_hz = frequency(fields, "frequency_hz", sine.frequency_hz);
        sine.level_dbfs = level(fields);
        return sine;
    }
    if (kind == "stepped") {
        Stepped stepped;
        stepped.frequency_hz = frequency(fields, "frequency_hz", stepped.frequency_hz);
        stepped.levels_dbfs = fields.numbers("levels_dbfs", kLevel);
        if (stepped.levels_dbfs.empty())
            fields.refuse("levels_dbfs", "is missing; a stepped tone needs its levels");
        stepped.step_s = fields.number("step_s", kDuration).value_or(stepped.step_s);
        return stepped;
    }
    if (kind == "two_tone")
        return TwoTone{two(fields, "frequencies_hz", kFrequency), two(fields, "levels_dbfs", kLevel)};
    if (kind == "sweep") {
        Sweep sweep;
        sweep.from_hz = frequency(fields, "from_hz", sweep.from_hz);
        sweep.to_hz = frequency(fields, "to_hz", sweep.to_hz);
        if (sweep.from_hz == sweep.to_hz) fields.refuse("to_hz", "a sweep that ends where it starts");
        const auto duration = fields.number("duration_s", kDuration);
        if (!duration) fields.refuse("duration_s", "is missing; say how long the sweep lasts");
        sweep.duration_s = *duration;
        sweep.level_dbfs = level(fields);
        return sweep;
    }
    if (kind == "pink") {
        Pink pink;
        pink.level_dbfs = level(fields);
        pink.seed = seed(fields);
        return pink;
    }
    if (kind == "near_silence") return NearSilence{seed(fields)};
    if (kind == "polarity_pulse") {
        PolarityPulse pulse;
        pulse.level_dbfs = level(fields);
        pulse.spacing_s = fields.number("spacing_s", kDuration).value_or(pulse.spacing_s);
        pulse.width_s = fields.number("width_s", kDuration).value_or(pulse.width_s);
        return pulse;
    }
    fields.refuse("kind", none_of(kind, tone_kind_words()));
}

}  // namespace

PlayedTone read_tone(Fields& fields) {
    const auto kind = fields.text("kind");
    if (!kind)
        fields.refuse("kind", fmt::format("is missing; one of {}", fmt::join(tone_kind_words(), ", ")));
    PlayedTone tone;
    tone.waveform = read_waveform(fields, *kind);
    tone.via = fields.word<ToneVia>("via");
    tone.burst_s = fields.number("burst_s", {0, 3600, false});
    if (const auto channel = fields.text("channel"); channel && *channel != "both") {
        tone.only = from_word<Channel>(*channel);
        if (tone.only != Channel::left && tone.only != Channel::right)
            fields.refuse("channel", fmt::format("'{}' is not one of both, left, right", *channel));
    }
    return tone;
}

PlayedTone parse_tone(std::string_view text) {
    const Json json = parse_safely(text, "tone");
    std::vector<Warning> warnings;
    JsonReading reading{"tone", warnings};
    Fields fields(json, "", reading);
    return read_tone(fields);
}

}  // namespace hushtrace
