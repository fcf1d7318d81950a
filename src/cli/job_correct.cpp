#include <algorithm>

#include "hushtrace/signal/take_file.hpp"
#include "job_edit.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

/// Notes an option that takes its value out, and leaves it as if it had not been given.
bool taken_out(std::optional<std::string>& option, bool& given) {
    given = option.has_value();
    if (option != "unknown") return false;
    option.reset();
    return true;
}
bool emptied(std::vector<std::string>& option, bool& given) {
    given = !option.empty();
    if (option != std::vector<std::string>{"none"}) return false;
    option.clear();
    return true;
}

/// The new conditions: those given, read as for a new take, in the place of those that stood there.
Conditions corrected(const Conditions& was, ConditionsOptions options) {
    Conditions now = was;
    bool rpm = false, source = false, input = false, volume = false, amplifier = false, laptop = false, at = false;
    bool loads = false, attached = false;
    taken_out(options.rpm, rpm);
    taken_out(options.source, source);
    taken_out(options.input, input);
    taken_out(options.volume, volume);
    taken_out(options.amplifier, amplifier);
    taken_out(options.laptop, laptop);
    taken_out(options.at_amplifier, at);
    emptied(options.loads, loads);
    emptied(options.attached, attached);
    const bool engine = options.engine.has_value(), point = options.point.has_value(), hookup = !options.hookup.empty();
    if (!engine) options.engine = std::string(to_word(was.engine));
    const Conditions given = options.conditions();
    now.engine = given.engine;
    if (point) now.point = given.point;
    if (rpm) now.rpm = given.rpm;
    if (source) now.source = given.source;
    if (input) now.input = given.input;
    if (volume) now.volume = given.volume;
    if (amplifier) now.amplifier = given.amplifier;
    if (hookup) now.hookup = given.hookup;
    if (loads) now.loads = given.loads;
    if (attached) now.attached = given.attached;
    if (laptop) now.laptop = given.laptop;
    if (at) now.at_amplifier = given.at_amplifier;
    if (engine && !rpm && now.rpm.value_or(0) > 0 && !engine_turns(now.engine) && now.engine != Engine::ready)
        refuse(fmt::format("--engine {}: the take says {} rpm; add --rpm unknown", to_word(now.engine), *now.rpm));
    return now;
}

std::optional<std::string> text_or_unknown(const char* option, const std::string& given) {
    if (!is_utf8(given)) refuse(fmt::format("{}: {} is not UTF-8 text", option, in_quotes(given)));
    return given == "unknown" ? std::nullopt : std::optional(given);
}

}  // namespace

Take corrected_take(const Take& take, const TakeOptions& options, ConditionsOptions conditions, const ChannelOptions& channels,
                    const ToneOptions& tone) {
    Take now = take;
    now.conditions = corrected(take.conditions, std::move(conditions));
    if (!channels.channels.empty()) now.channels = channels.channels_of(take.channels.size());
    if (!channels.attenuation_db.empty()) {
        ChannelOptions pads = channels;
        bool given = false;
        now.attenuation_db = emptied(pads.attenuation_db, given) ? std::vector<double>() : pads.pads_of(take.channels.size());
    }
    if (tone.kind == "none")
        now.tone.reset();
    else if (tone.kind)
        now.tone = tone.tone();
    if (now.tone) ToneGenerator(now.tone->waveform, 192000);  // refuses what no tone is
    std::vector<std::string> steps = options.volume_steps, marks = options.marks;
    bool given_steps = false, given_marks = false;
    emptied(steps, given_steps);
    if (given_steps) now.volume_steps = numbers_from("--volume-steps", steps);
    if (emptied(marks, given_marks)) now.marks.clear();
    for (const std::string& one : marks) now.marks.push_back(mark_from(one));
    std::stable_sort(now.marks.begin(), now.marks.end(), [](const Mark& a, const Mark& b) { return a.time_s < b.time_s; });
    if (options.recorded_at) now.recorded_at = text_or_unknown("--recorded-at", *options.recorded_at);
    if (options.after_change) now.after_change = text_or_unknown("--after-change", *options.after_change);
    if (options.rpm_log == "unknown") now.rpm_log.reset();
    return now;
}

}  // namespace hushtrace::cli
