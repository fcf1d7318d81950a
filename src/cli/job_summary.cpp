#include "job_summary.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>

#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/job/spelling.hpp"

namespace hushtrace::cli {
namespace {

constexpr std::size_t kWidth = 80;

/// Words that fill lines of 80 columns, those after the first indented.
std::string wrapped(const std::string& text, std::size_t indent) {
    std::size_t from = std::min(text.find_first_not_of(' '), text.size());
    std::string out, line = text.substr(0, from);
    bool empty = true;
    while (from < text.size()) {
        const std::size_t end = std::min(text.find(' ', from), text.size());
        const std::string word = text.substr(from, end - from);
        if (!empty && line.size() + 1 + word.size() > kWidth) {
            out += line + "\n";
            line = std::string(indent, ' ') + word;
        } else {
            line += (empty ? "" : " ") + word;
        }
        empty = false;
        from = end + 1;
    }
    return out + line + "\n";
}

std::string row(const std::string& name, const std::vector<std::string>& parts) {
    if (parts.empty()) return {};
    return wrapped(fmt::format("{:<12}{}", name, fmt::join(parts, ", ")), 12);
}

/// Text of a user's, without what would break the line.
std::string plain(const std::string& text) {
    std::string out = text;
    for (char& c : out)
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = ' ';
    return out;
}

template <class Value>
void add(std::vector<std::string>& parts, const char* form, const std::optional<Value>& value) {
    if (value) parts.push_back(fmt::format(fmt::runtime(form), *value));
}
void add_text(std::vector<std::string>& parts, const std::string& text) {
    if (!text.empty()) parts.push_back(plain(text));
}

std::vector<std::string> vehicle_parts(const VehicleData& vehicle) {
    std::vector<std::string> parts;
    add_text(parts, vehicle.description);
    parts.emplace_back(to_word(vehicle.drive));
    add(parts, "{} cylinders", vehicle.cylinders);
    add(parts, "{}-stroke", vehicle.strokes);
    add(parts, "{} V", vehicle.supply_v);
    add(parts, "alternator {} pole pairs", vehicle.alternator.pole_pairs);
    add(parts, "pulleys 1:{}", vehicle.alternator.pulley_ratio);
    add(parts, "{} A", vehicle.alternator.rated_a);
    add(parts, "mains {} Hz", vehicle.mains_hz);
    return parts;
}

std::vector<std::string> source_parts(const SourceData& source) {
    std::vector<std::string> parts;
    add_text(parts, source.description);
    if (source.factory) parts.emplace_back(*source.factory ? "factory-fitted" : "not factory-fitted");
    if (source.output) parts.push_back(fmt::format("{} output", to_word(*source.output)));
    add(parts, "{} V", source.preout_v);
    add(parts, "volume to {}", source.volume_top);
    return parts;
}

std::vector<std::string> amplifier_parts(const AmplifierData& amplifier) {
    std::vector<std::string> parts;
    add_text(parts, amplifier.name);
    add(parts, "{} W", amplifier.power_w);
    add(parts, "into {} ohm", amplifier.load_ohm);
    if (amplifier.sensitivity_v)
        parts.push_back(
            fmt::format("gain {} to {} V", (*amplifier.sensitivity_v)[0], (*amplifier.sensitivity_v)[1]));
    if (amplifier.bridged_output == true) parts.emplace_back("bridged output");
    if (amplifier.input == OutputKind::speaker) parts.emplace_back("speaker-level input");
    if (!amplifier.channels.empty()) {
        std::vector<std::string_view> words;
        for (const Channel channel : amplifier.channels) words.push_back(to_word(channel));
        parts.push_back(fmt::format("fed by {}", fmt::join(words, " ")));
    }
    if (amplifier.converter) {
        const auto& loss_db = amplifier.converter->loss_db;
        parts.push_back(loss_db ? fmt::format("behind a line converter of {:.4g} dB", -*loss_db) : "behind a line converter of unknown ratio");
    }
    if (amplifier.dial_law) parts.push_back(fmt::format("{} dial", to_word(*amplifier.dial_law)));
    add(parts, "allowance {} dB", amplifier.allowance_db);
    add(parts, "own noise {} dBV", amplifier.input_noise_dbv);
    return parts;
}

std::vector<std::string> speaker_parts(const SpeakerData& speaker) {
    std::vector<std::string> parts;
    if (!speaker.amplifier.empty()) parts.push_back("on " + plain(speaker.amplifier));
    if (speaker.kind) parts.emplace_back(to_word(*speaker.kind));
    add(parts, "{} W", speaker.power_w);
    add(parts, "{} ohm", speaker.impedance_ohm);
    add(parts, "{} dB at 2.83 V, 1 m", speaker.sensitivity_db_2v83_1m);
    add(parts, "ear at {} m", speaker.distance_m);
    return parts;
}

std::string list_or_unknown(const std::vector<std::optional<double>>& values) {
    std::vector<std::string> parts;
    parts.reserve(values.size());
    for (const auto& value : values) parts.push_back(value ? fmt::format("{:.4g}", *value) : "unknown");
    return fmt::format("{}", fmt::join(parts, " / "));
}

std::vector<std::string> interface_parts(const InterfaceData& interface) {
    std::vector<std::string> parts;
    if (interface.input) parts.push_back(fmt::format("{} input", to_word(*interface.input)));
    parts.push_back(interface.volts_full_scale.empty()
                        ? "not calibrated"
                        : fmt::format("{} V at full scale", list_or_unknown(interface.volts_full_scale)));
    if (!interface.own_noise_dbv.empty())
        parts.push_back(fmt::format("own noise {} dBV", list_or_unknown(interface.own_noise_dbv)));
    return parts;
}

std::vector<std::string> limit_parts(const Limits& limits) {
    struct Spelling {
        std::optional<double> Limits::*value;
        const char* text;
    };
    constexpr std::array spellings = {
        Spelling{&Limits::ceiling_thd_percent, "{} % distortion at the ceiling"},
        Spelling{&Limits::minus_20_thd_percent, "{} % distortion 20 dB below full scale"},
        Spelling{&Limits::balance_db, "balance within {} dB"},
        Spelling{&Limits::delay_difference_ms, "delays within {} ms"},
        Spelling{&Limits::crosstalk_1khz_db, "crosstalk {} dB at 1 kHz"},
        Spelling{&Limits::crosstalk_10khz_db, "crosstalk {} dB at 10 kHz"},
        Spelling{&Limits::response_from_hz, "response from {} Hz"},
        Spelling{&Limits::response_to_hz, "response to {} Hz"},
        Spelling{&Limits::response_tolerance_db, "response within {} dB"},
        Spelling{&Limits::noise_dbv_a, "noise {} dBV, A-weighted"},
        Spelling{&Limits::line_below_full_power_db, "lines {} dB against full power"},
        Spelling{&Limits::hiss_below_full_power_db, "hiss {} dB against full power, A-weighted"},
        Spelling{&Limits::at_ear_off_db_spl, "lines at the ear {} dB SPL, engine off"},
        Spelling{&Limits::at_ear_running_db_spl, "lines at the ear {} dB SPL, engine running"}};
    std::vector<std::string> parts;
    for (const Spelling& one : spellings)
        if (const auto& value = limits.*one.value) parts.push_back(fmt::format(fmt::runtime(one.text), *value));
    if (limits.same_polarity) parts.emplace_back(*limits.same_polarity ? "one polarity" : "polarities may differ");
    return parts;
}

std::string tone_in_short(const PlayedTone& tone) {
    std::string text(tone_kind_word(tone.waveform));
    if (const auto* sine = std::get_if<Sine>(&tone.waveform))
        text = fmt::format("sine {} Hz {} dBFS", sine->frequency_hz, sine->level_dbfs);
    if (tone.via) text += fmt::format(" from {}", to_word(*tone.via));
    return text;
}

std::string take_line(const Take& take) {
    std::vector<std::string> channels;
    for (const Channel channel : take.channels) channels.emplace_back(to_word(channel));
    std::string text = fmt::format("  {}: {}; {}", plain(take.file), fmt::join(channels, " "),
                                   conditions_in_short(take.conditions));
    if (take.tone) text += "; " + tone_in_short(*take.tone);
    if (!take.volume_steps.empty()) text += fmt::format("; volume {}", fmt::join(take.volume_steps, " "));
    if (take.after_change) text += "; after: " + plain(*take.after_change);
    for (const TakeFault fault : take.faults) text += fmt::format("; MARKED {}", to_word(fault));
    return wrapped(text, 4);
}

}  // namespace

std::string observation_in_short(const Observation& seen) {
    std::string text = seen.what + ": ";
    if (seen.declined)
        text += "declined" + (seen.reason ? " (" + plain(*seen.reason) + ")" : std::string());
    else if (seen.heard)
        text += *seen.heard;
    else
        text += seen.value ? fmt::format("{} {}", *seen.value, seen.unit) : "unknown";
    if (seen.tone) text += "; " + tone_in_short(*seen.tone);
    if (seen.what == "removed") return text + (seen.after_take ? "; after " + plain(*seen.after_take) : std::string());
    return text + "; " + conditions_in_short(seen.conditions);
}

std::string conditions_in_short(const Conditions& conditions) {
    std::vector<std::string> parts = {fmt::format("engine {}", to_word(conditions.engine))};
    if (conditions.rpm) parts.back() += fmt::format(" {} rpm", *conditions.rpm);
    if (conditions.point != Point::amp_input)
        parts.push_back(fmt::format("at {}", to_word(conditions.point)));
    if (conditions.at_amplifier) parts.push_back("amplifier " + in_quotes(*conditions.at_amplifier));
    if (conditions.source) parts.push_back(fmt::format("source {}", to_word(*conditions.source)));
    if (conditions.input) parts.emplace_back(to_word(*conditions.input));
    add(parts, "volume {}", conditions.volume);
    if (conditions.amplifier) parts.push_back(fmt::format("amplifier {}", to_word(*conditions.amplifier)));
    for (const Hookup hookup : conditions.hookup)
        if (hookup != Hookup::normal) parts.emplace_back(to_word(hookup));
    for (const std::string& load : conditions.loads) parts.push_back(plain(load));
    for (const AttachedDevice& one : conditions.attached)
        parts.push_back(fmt::format("{} fed by {}", plain(one.device), to_word(one.powered_from)));
    if (conditions.laptop) parts.push_back(fmt::format("laptop on {}", to_word(*conditions.laptop)));
    return fmt::format("{}", fmt::join(parts, ", "));
}

std::string job_summary(const OpenedJob& opened) {
    const Job& job = opened.job;
    std::string out =
        wrapped(fmt::format("{}{}", job.title.empty() ? opened.folder.string() : plain(job.title),
                            job.date ? ", " + plain(*job.date) : ""),
                2);
    if (job.complaint) out += row("complaint", {plain(*job.complaint)});
    out += row("vehicle", vehicle_parts(job.vehicle));
    out += row("source", source_parts(job.source));
    for (const AmplifierData& amplifier : job.amplifiers) out += row("amplifier", amplifier_parts(amplifier));
    for (const SpeakerData& speaker : job.speakers) out += row("speaker", speaker_parts(speaker));
    out += row("interface", interface_parts(job.interface));
    if (const auto written = limit_parts(job.limits); !written.empty()) out += row("limits", written);
    out += job.takes.empty() ? "\nNo takes yet.\n" : "\nTakes\n";
    for (const Take& take : job.takes) out += take_line(take);
    if (!job.observations.empty()) out += "\nObservations\n";
    for (std::size_t i = 0; i < job.observations.size(); ++i)
        out += wrapped(fmt::format("  {}. {}", i + 1, observation_in_short(job.observations[i])), 4);
    return out;
}

std::string kept_in_words(const OpenedJob& opened, const KeptList& kept) {
    constexpr std::size_t kMostTold = 10;
    if (kept.results.empty()) return {};
    std::string out = "\nKept results\n";
    for (std::size_t i = 0; i < std::min(kMostTold, kept.results.size()); ++i) {
        const KeptResults& one = kept.results[i];
        out += wrapped(fmt::format("  {}: {}, by version {}", plain(one.file.lexically_relative(opened.folder).generic_string()), plain(one.at),
                                   plain(one.version)), 4);
    }
    if (kept.results.size() > kMostTold) out += fmt::format("  and {} earlier\n", kept.results.size() - kMostTold);
    return out;
}

std::string open_in_words(const std::vector<OpenPoint>& points) {
    std::string out;
    for (const OpenPoint& one : points) {
        out += list_of({one.what});
        for (const std::string& line : one.make) out += "        " + clean_text(line) + "\n";
    }
    return out;
}

std::string list_of(const std::vector<Warning>& warnings) {
    std::string out;
    for (const Warning& warning : warnings) out += wrapped("  - " + plain(warning.text), 4);
    return out;
}

}  // namespace hushtrace::cli
