#include <fmt/format.h>

#include <algorithm>
#include <variant>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

class Facts {
public:
    void add(const char* name, const std::string& value) {
        if (!value.empty()) rows_ += fmt::format("<dt>{}</dt><dd>{}</dd>\n", name, isolated(shortened(value, kCellColumns)));
    }
    std::string html() const { return "<dl>\n" + rows_ + "</dl>\n"; }

private:
    std::string rows_;
};

template <class List, class Spell>
std::string joined(const List& list, Spell spell, const char* between = ", ") {
    std::string text;
    for (const auto& one : list) text += (text.empty() ? "" : between) + spell(one);
    return text;
}

std::string plain_number(double value) {
    return fmt::format("{:g}", value);
}

struct ToneWords {
    std::string operator()(const Sine& tone) const {
        return fmt::format("sine {} at {:g} dBFS", frequency_text(tone.frequency_hz), tone.level_dbfs);
    }
    std::string operator()(const Stepped& tone) const {
        return fmt::format("{} in {} levels", frequency_text(tone.frequency_hz), tone.levels_dbfs.size());
    }
    std::string operator()(const TwoTone& tone) const {
        return fmt::format("{} and {} together", frequency_text(tone.frequencies_hz[0]),
                           frequency_text(tone.frequencies_hz[1]));
    }
    std::string operator()(const Sweep& tone) const {
        return fmt::format("sweep {} to {} at {:g} dBFS", frequency_text(tone.from_hz),
                           frequency_text(tone.to_hz), tone.level_dbfs);
    }
    std::string operator()(const Pink& tone) const {
        return fmt::format("pink noise at {:g} dBFS", tone.level_dbfs);
    }
    std::string operator()(const NearSilence&) const { return "near-silence"; }
    std::string operator()(const PolarityPulse&) const { return "polarity pulses"; }
};

std::string tone_text(const PlayedTone& tone) {
    std::string text = std::visit(ToneWords{}, tone.waveform);
    if (tone.via) text += fmt::format(", played by: {}", spaced(to_word(*tone.via)));
    return text;
}

std::string take_html(const Take& take) {
    const Conditions& stated = take.conditions;
    Facts facts;
    facts.add("engine", spaced(to_word(stated.engine)) +
                            (stated.rpm ? fmt::format(" at {:g} rpm", *stated.rpm) : "") +
                            (take.rpm_log ? ", logged in " + *take.rpm_log : ""));
    facts.add("lead", joined(
                          stated.hookup, [](Hookup one) { return spaced(to_word(one)); }, " + "));
    facts.add("measured at", spaced(to_word(stated.point)));
    if (stated.source) facts.add("source", spaced(to_word(*stated.source)));
    if (stated.input) facts.add("its input", spaced(to_word(*stated.input)));
    if (stated.volume) facts.add("volume", plain_number(*stated.volume));
    facts.add("volume steps", joined(take.volume_steps, plain_number));
    if (take.tone) facts.add("tone", tone_text(*take.tone));
    if (stated.amplifier) facts.add("amplifier", spaced(to_word(*stated.amplifier)));
    facts.add("loads on", joined(stated.loads, [](const std::string& one) { return spaced(one); }));
    facts.add("attached", joined(stated.attached, [](const AttachedDevice& one) {
                  return one.device + " (fed from: " + spaced(to_word(one.powered_from)) + ")";
              }));
    if (stated.laptop) facts.add("laptop on", spaced(to_word(*stated.laptop)));
    facts.add("channels", channels_text(take.channels));
    facts.add("pad", joined(take.attenuation_db, [](double one) { return fmt::format("{:g} dB", one); }));
    facts.add("marks", joined(take.marks, [](const Mark& one) {
                  return fmt::format("{:.1f} s {}", one.time_s, one.text);
              }));
    if (take.after_change) facts.add("after", *take.after_change);
    if (take.recorded_at) facts.add("recorded", *take.recorded_at);
    facts.add("faults", joined(take.faults, [](TakeFault one) { return spaced(to_word(one)); }));
    return fmt::format("<section>\n<h3>{}</h3>\n{}</section>\n", isolated(take.file), facts.html());
}

std::string observation_row(const Observation& one) {
    std::string value = "not known";
    if (one.declined)
        value = "asked for, not given" + (one.reason ? ": " + *one.reason : "");
    else if (one.value)
        value = fmt::format("{:g} {}", *one.value, one.unit);
    else if (one.heard)
        value = spaced(*one.heard);
    std::string when = conditions_text(one.conditions) + (one.after_change ? ", after: " + *one.after_change : "");
    if (one.what == "removed") when = one.after_take ? "after " + *one.after_take : "";
    return fmt::format("<tr><th scope=\"row\">{}</th>{}{}</tr>\n", isolated(spaced(one.what)), cell(value, "reading"), cell(when, "conditions"));
}

}  // namespace

std::string conditions(const Job& job) {
    std::string out;
    if (!job.takes.empty()) {
        out += "<section>\n<h2>Takes and their conditions</h2>\n<div class=\"takes\">\n";
        for (const Take& one : job.takes) out += take_html(one);
        out += "</div>\n</section>\n";
    }
    if (!job.observations.empty()) {
        std::string rows;
        for (const Observation& one : job.observations) rows += observation_row(one);
        out += "<section>\n<h2>Read on a meter, heard by ear</h2>\n" +
               table({"what", "reading", "conditions"}, rows) + "</section>\n";
    }
    return out;
}

std::string warnings(const OpenedJob& opened, const Analyses& analyses) {
    const std::vector<Warning> all = all_warnings(opened, analyses);
    if (all.empty()) return "";
    std::string out = "<section>\n<h2>Warnings</h2>\n<ul class=\"notes\">\n";
    for (const Warning& one : all) {
        const bool named = !one.take || one.text.find(*one.take) != std::string::npos;
        out += fmt::format("<li>{}</li>\n", isolated(shortened(named ? one.text : *one.take + ": " + one.text, kCellColumns)));
    }
    return out + "</ul>\n</section>\n";
}

std::string cautions(const Job& job) {
    std::vector<std::string> list = {
        "Switch the amplifier off before a signal plug is moved.",
        "Battery: negative off first and on last; every added wire gets a fuse, temporary ones too.",
        "Run the engine outdoors or with exhaust extraction, and keep leads and sleeves away from belts and "
        "fans.",
        "Yellow connectors belong to airbags: never probe, splice or ground near them.",
        "Steady tones heat speakers faster than music: short bursts, start low, speakers off where they "
        "aren't needed."};
    if (job.vehicle.drive == Drive::hybrid || job.vehicle.drive == Drive::electric)
        list.push_back("Orange cables carry dangerous voltage: hands off, and no ground at their brackets.");
    const bool bridged =
        std::any_of(job.amplifiers.begin(), job.amplifiers.end(),
                    [](const AmplifierData& one) { return one.bridged_output.value_or(false); }) ||
        job.source.factory.value_or(false) || job.source.output == OutputKind::speaker;
    if (bridged)
        list.push_back("Bridged outputs and factory speaker wires: never tie either wire to ground.");
    std::string out = "<section>\n<h2>Cautions</h2>\n<ul class=\"notes\">\n";
    for (const std::string& one : list) out += fmt::format("<li>{}</li>\n", escaped(one));
    return out +
           "</ul>\n<p class=\"soft\">Local code and the vehicle maker's instructions come first; the "
           "technician "
           "decides.</p>\n</section>\n";
}

}  // namespace hushtrace::page
