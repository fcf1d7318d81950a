#include "capture_options.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <system_error>
#include <variant>

#include "hushtrace/live/precautions.hpp"
#include "knob_script.hpp"
#include "offers.hpp"
#include "shared_folder.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

namespace fs = std::filesystem;
constexpr double usual_rate_hz = 48000.0;
constexpr double usual_burst_s = 3.0;  // bursts of 2 to 5 s: common practice, no source

double above_zero(std::string_view option, const std::optional<std::string>& text, double usual) {
    const double value = number_from(option, text).value_or(usual);
    if (!(value > 0)) refuse(fmt::format("{}: {} is not above 0", option, value));
    return value;
}

double duration(std::string_view option, const std::optional<std::string>& text, double usual) {
    const double seconds = above_zero(option, text, usual);
    if (seconds > longest_capture_s) refuse(fmt::format("{}: {} s is more than a day", option, seconds));
    return seconds;
}

std::size_t whole(std::string_view option, const std::optional<std::string>& text, std::size_t usual) {
    const double value = above_zero(option, text, static_cast<double>(usual));
    if (value != std::floor(value) || value > 1e9)
        refuse(fmt::format("{}: {} is no whole number", option, value));
    return static_cast<std::size_t>(value);
}

/// A name for a take that says what it is, where none was given.
std::string usual_name(const Take& take) {
    if (take.conditions.has(Hookup::inputs_shorted)) return "shorted";
    if (!take.volume_steps.empty()) return "steps";
    if (take.tone) return std::string(tone_kind_word(take.tone->waveform));
    return std::string(to_word(take.conditions.engine));
}

fs::path signals_folder() {
    const char* told = std::getenv("HUSHTRACE_SIGNALS");
    return told != nullptr && *told != '\0' ? fs::path(told) : shared_folder() / "signals";
}

}  // namespace

void CaptureOptions::add_to(CLI::App& app) {
    app.add_option("--job", job, "the job's folder")->required()->type_name(folder_type);
    app.add_option("--volume-steps", volume_steps, "source volumes to step through, in order: 20,21,22")
        ->delimiter(',')
        ->allow_extra_args(false);
    app.add_option("--step-seconds", step_seconds,
                   "how long each volume step lasts [s], 3 unless told otherwise");
    app.add_option("--knob-script", knob_script,
                   "with --simulate: a file that turns the knob as a hand would, each line a time [s] and a volume")
        ->type_name(file_type);
    offer(app.add_option("--burst", burst,
                         "the tone sounds for so many seconds, then stays 40 dB down as long; 'none' for without pauses. Where the interface plays a "
                         "sine into an "
                         "amplifier that is on, 3 unless told otherwise; a volume step is then a burst and a pause"),
          {"none"});
    may_burst = true;
    app.add_flag("--paced", paced, "with --simulate or --from: in real time");
    app.add_flag("--marks-from-stdin", marks_from_stdin, "each line on stdin marks the moment it arrives");
    app.add_flag("--json", json, "print one JSON document");
    add_sound_to(app);
}

void CaptureOptions::add_sound_to(CLI::App& app) {
    offer(app.add_option("--device", device, "capture from this audio device: number or part of its name; 'default'"), {"default"});
    app.add_option("--output-device", output_device, "play on another device than --device");
    app.add_option("--simulate", simulate, "capture from a simulated vehicle: a scenario file, or its bare name")->type_name(vehicle_type);
    app.add_option("--from", from, "capture from a sound file, as if it were being recorded")->type_name(file_type);
    app.add_option("--seconds", seconds, "how long [s]; unless said, as the tone or the steps need, else 10");
    app.add_option("--name", name, "the take's name; a number is added when it is in use");
    offer(app.add_option("--format", format, "flac (24 bit) or wav (float)"), {"flac", "wav"});
    app.add_option("--note-change", note_change,
                   "what was mended before this take, in words; \"ground remade\", \"lead rerouted 0.3 m\" and the like (docs/cures.md) "
                   "are held against what was promised");
    app.add_option("--max-level", max_level, "loudest that may be played [dBFS], -12 unless told otherwise");
    app.add_flag("--amplifier-live-ok", amplifier_live_ok,
                 "the interface may play its tone into an amplifier that is on: its gain is at the minimum, the speakers are off");
    offer(app.add_option("--output-lead", output_lead, "in or out: whether the interface's output lead is in the source"), {"in", "out"});
    app.add_option("--played", played, "the tone file that the source plays itself, with --via stick, phone or disc")->type_name(file_type);
    app.add_option("--rate", rate, "sample rate [Hz], 48000 unless told otherwise");
    app.add_option("--latency", latency, "latency asked of the device [s], 0.1 unless told otherwise");
    app.add_option("--frames", frames, "frames the device delivers at once, 512 unless told otherwise");
    conditions.add_to(app);
    channels.add_to(app);
    tone.add_to(app);
    ground.add_to(app);
}

CaptureOptions::Way CaptureOptions::way() const {
    const int named = (device ? 1 : 0) + (simulate ? 1 : 0) + (from ? 1 : 0);
    if (named != 1) refuse("say where the sound comes from, by one of --device, --simulate, --from");
    if (!device && (latency || frames || output_device))
        refuse("--latency, --frames and --output-device go with --device");
    if (device && paced) refuse("--paced: a device keeps its own pace");
    if (!simulate && ground.meter) refuse("--meter: goes with --simulate");
    if (from && rate) refuse("--rate: the file has its own");
    return device ? Way::device : simulate ? Way::simulation : Way::file;
}

std::size_t CaptureOptions::input_channels() const {
    return channels.channels.empty() ? 2 : channels.channels.size();
}

double CaptureOptions::device_rate_hz() const {
    return above_zero("--rate", rate, usual_rate_hz);
}

CaptureOrder CaptureOptions::order(std::size_t file_channels, double sample_rate_hz) const {
    CaptureOrder order;
    order.job_folder = job;
    Take& take = order.take;
    take.conditions = conditions.conditions();
    take.channels = channels.channels_of(file_channels);
    take.attenuation_db = channels.pads_of(file_channels);
    take.after_change = note_change;
    take.volume_steps = numbers_from("--volume-steps", volume_steps);
    take.tone = tone.tone();
    if (take.tone && !take.tone->via && way() != Way::file) take.tone->via = ToneVia::interface_output;
    order.plays_tone = way() != Way::file && take.tone && take.tone->via == ToneVia::interface_output;
    if (number_from("--max-level", max_level).value_or(0) > 0)
        refuse("--max-level: the loudest there is is 0 dBFS");
    order.max_level_dbfs = number_from("--max-level", max_level).value_or(usual_max_level_dbfs);
    if (order.plays_tone) {
        const ToneGenerator checked(take.tone->waveform, sample_rate_hz);
        if (!tone.level && tone.levels.empty())
            take.tone->waveform = lowered_to(take.tone->waveform, order.max_level_dbfs);
        require_allowed(take.tone->waveform, order.max_level_dbfs, sample_rate_hz);
    }
    if (played && (!take.tone || take.tone->via == ToneVia::interface_output))
        refuse(
            "--played: say what the file holds with --tone, and how it is played with --via stick, phone or "
            "disc");
    if (way() == Way::simulation && take.tone && !order.plays_tone && !played)
        refuse(fmt::format(
            "--via {}: name the file that the source plays with --played FILE ('hushtrace tones' writes one)",
            to_word(*take.tone->via)));
    if (output_lead && *output_lead != "in" && *output_lead != "out") refuse("--output-lead: in or out");
    if (order.plays_tone && output_lead == "out")
        refuse("--output-lead: it must be in where the interface plays the tone");
    settle_bursts(order);
    if (seconds) order.duration_s = duration("--seconds", seconds, 0);
    order.step_s = duration("--step-seconds", step_seconds, order.step_s);
    if (step_seconds && volume_steps.empty()) refuse("--step-seconds: goes with --volume-steps");
    if (knob_script) {
        if (!simulate) refuse("--knob-script: goes with --simulate; a real knob is turned by hand");
        if (step_seconds) refuse("--step-seconds: with --knob-script the script says when");
        order.knob_script = read_knob_script(*knob_script);
    }
    if (format != "flac" && format != "wav")
        refuse(fmt::format("--format: {} is neither flac nor wav", in_quotes(format)));
    order.suffix = "." + format;
    order.name = name.value_or(usual_name(take));
    return order;
}

void CaptureOptions::settle_bursts(CaptureOrder& order) const {
    std::optional<PlayedTone>& tone_played = order.take.tone;
    if (burst == "none") return;
    if (burst) {
        if (!order.plays_tone) refuse("--burst: goes with a tone that the interface plays; a stick's tone has no pauses");
        tone_played->burst_s = above_zero("--burst", burst, 0);
        if (step_seconds) refuse("--step-seconds: with --burst a volume step is a burst and a pause");
        if (natural_duration_s(tone_played->waveform) > 0)
            refuse(fmt::format("--burst: a {} plays once, without bursts", tone_kind_word(tone_played->waveform)));
        if (*tone_played->burst_s < PlayedSound::shortest_burst_s || *tone_played->burst_s > PlayedSound::longest_burst_s)
            refuse(fmt::format("--burst: {:g} s is not from {:g} to {:g} s", *tone_played->burst_s, PlayedSound::shortest_burst_s,
                               PlayedSound::longest_burst_s));
        return;
    }
    const bool by_itself = may_burst && order.plays_tone && !step_seconds && !knob_script && sounds_in_amplifier(order.take) &&
                           std::holds_alternative<Sine>(tone_played->waveform);
    if (by_itself) tone_played->burst_s = usual_burst_s;
}

bool CaptureOptions::output_lead_in(const CaptureOrder& order) const {
    return output_lead ? *output_lead == "in" : order.plays_tone;
}

DeviceWish CaptureOptions::device_wish(const CaptureOrder& order) const {
    DeviceWish wish;
    wish.device = device == "default" ? "" : *device;
    wish.output_device = output_device;
    wish.sample_rate_hz = device_rate_hz();
    wish.input_channels = order.take.channels.size();
    wish.output_channels = order.plays_tone ? 2 : 0;
    wish.latency_s = above_zero("--latency", latency, wish.latency_s);
    wish.frames_per_callback = whole("--frames", frames, wish.frames_per_callback);
    return wish;
}

fs::path scenario_path(const std::string& asked) {
    std::error_code fault;
    if (fs::is_regular_file(asked, fault) || asked.find('/') != std::string::npos) return asked;
    const fs::path folder = signals_folder();
    for (const char* suffix : {"", ".json"})
        if (fs::is_regular_file(folder / (asked + suffix), fault)) return folder / (asked + suffix);
    std::vector<std::string> names;
    for (const auto& entry : fs::directory_iterator(folder, fault))
        if (entry.path().extension() == ".json") names.push_back(entry.path().stem().string());
    std::sort(names.begin(), names.end());
    throw Error(ErrorKind::file_unreadable,
                names.empty()
                    ? fmt::format("--simulate: no scenario {} in {}", in_quotes(asked), folder.string())
                    : fmt::format("--simulate: {} is none of {}", in_quotes(asked), fmt::join(names, ", ")));
}

}  // namespace hushtrace::cli
