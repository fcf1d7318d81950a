#include <algorithm>
#include <cmath>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "command.hpp"
#include "conditions_options.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/tone_file.hpp"
#include "hushtrace/signal/tone_programme.hpp"
#include "json_document.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

struct Request {
    std::string kind, out;
    ToneOptions tone;
    std::optional<std::string> duration, step, seed, rate, bits, channel;
    bool force = false, json = false;
};

// How long a tone without an end of its own is, unless told otherwise: enough to step a volume through, or to
// average.
double usual_duration_s(const Waveform& waveform) {
    struct Usual {
        double operator()(const Sine&) const { return 60; }
        double operator()(const Stepped&) const { return 0; }
        double operator()(const TwoTone&) const { return 30; }
        double operator()(const Sweep&) const { return 0; }
        double operator()(const Pink&) const { return 30; }
        double operator()(const NearSilence&) const { return 60; }
        double operator()(const PolarityPulse&) const { return 10; }
    };
    return std::visit(Usual{}, waveform);
}

struct Part {
    const char* what;
    double from_s, to_s;
};
std::vector<Part> parts_of(const ProgrammeTimes& times) {
    return {{"near-silence", 0, times.opening_marker_s},
            {"opening marker", times.opening_marker_s, times.opening_marker_s + Marker::duration_s},
            {"tone", times.tone_start_s, times.tone_end_s},
            {"closing marker", times.closing_marker_s, times.closing_marker_s + Marker::duration_s},
            {"near-silence", times.closing_marker_s + Marker::duration_s, times.total_s}};
}

struct Written {
    Waveform waveform;
    ProgrammeTimes times;
    ToneFileForm form;
};

Written write(Request& request) {
    std::replace(request.kind.begin(), request.kind.end(), '-', '_');
    const auto words = tone_kind_words();
    if (std::find(words.begin(), words.end(), request.kind) == words.end()) {
        throw Error(ErrorKind::invalid_request, "KIND: " + none_of(request.kind, words));
    }
    request.tone.kind = request.kind;
    if (request.kind == "sweep") request.tone.duration = request.duration;
    if (request.kind == "stepped" && request.tone.levels.empty())
        request.tone.levels = {"-40", "-30", "-20", "-10"};
    Waveform waveform = request.tone.tone()->waveform;
    auto* const stepped = std::get_if<Stepped>(&waveform);
    if (request.step && stepped == nullptr)
        throw Error(ErrorKind::invalid_request, "--step: only a stepped tone has steps");
    if (stepped != nullptr) stepped->step_s = number_from("--step", request.step).value_or(2.0);
    if (request.seed) {
        const double seed = number_from("--seed", std::string_view(*request.seed));
        if (!(seed >= 0 && seed <= 1e15) || seed != std::floor(seed))
            throw Error(ErrorKind::invalid_request, "--seed: a whole number is needed");
        auto* const pink = std::get_if<Pink>(&waveform);
        auto* const silence = std::get_if<NearSilence>(&waveform);
        if (pink == nullptr && silence == nullptr)
            throw Error(ErrorKind::invalid_request, "--seed: only noise has a seed");
        (pink != nullptr ? pink->seed : silence->seed) = static_cast<std::uint64_t>(seed);
    }

    double duration_s = usual_duration_s(waveform);
    if (request.duration) {
        duration_s = number_from("--duration", std::string_view(*request.duration));
        if (!(duration_s > 0)) throw Error(ErrorKind::invalid_request, "--duration: must be above 0 s");
    }
    if (duration_s == 0) duration_s = natural_duration_s(waveform);

    ToneFileForm form;
    if (const auto rate = number_from("--rate", request.rate)) form.sample_rate_hz = *rate;
    if (const auto bits = number_from("--bits", request.bits))
        form.bits = *bits == 24 ? 24 : *bits == 16 ? 16 : 0;
    if (form.bits == 0) throw Error(ErrorKind::invalid_request, "--bits: 16 or 24");
    const std::string channel = request.channel.value_or("both");
    if (channel != "both" && channel != "left" && channel != "right") {
        throw Error(ErrorKind::invalid_request,
                    fmt::format("--channel: '{}' is not one of both, left, right", channel));
    }
    form.left = channel != "right";
    form.right = channel != "left";
    form.overwrite = request.force;
    if (!(form.sample_rate_hz >= 8000 && form.sample_rate_hz <= 192000)) {
        throw Error(ErrorKind::invalid_request, "--rate: 8000 to 192000 Hz");
    }
    write_tone_file(request.out, render_programme(waveform, duration_s, form.sample_rate_hz), form);
    return {waveform, programme_times(duration_s), form};
}

// The tone in words, and as job.json spells it.
struct Described {
    std::string words;
    nlohmann::ordered_json json;
};
Described described(const Waveform& waveform) {
    struct Describe {
        Described operator()(const Sine& w) const {
            return {fmt::format("sine, {:g} Hz at {:g} dBFS", w.frequency_hz, w.level_dbfs),
                    {{"kind", "sine"}, {"frequency_hz", w.frequency_hz}, {"level_dbfs", w.level_dbfs}}};
        }
        Described operator()(const Stepped& w) const {
            return {fmt::format("{:g} Hz in steps of {:g} s at {:g} dBFS", w.frequency_hz, w.step_s,
                                fmt::join(w.levels_dbfs, ", ")),
                    {{"kind", "stepped"},
                     {"frequency_hz", w.frequency_hz},
                     {"levels_dbfs", w.levels_dbfs},
                     {"step_s", w.step_s}}};
        }
        Described operator()(const TwoTone& w) const {
            return {
                fmt::format("two tones, {:g} Hz at {:g} dBFS and {:g} Hz at {:g} dBFS", w.frequencies_hz[0],
                            w.levels_dbfs[0], w.frequencies_hz[1], w.levels_dbfs[1]),
                {{"kind", "two_tone"}, {"frequencies_hz", w.frequencies_hz}, {"levels_dbfs", w.levels_dbfs}}};
        }
        Described operator()(const Sweep& w) const {
            return {fmt::format("sweep from {:g} to {:g} Hz at {:g} dBFS", w.from_hz, w.to_hz, w.level_dbfs),
                    {{"kind", "sweep"},
                     {"from_hz", w.from_hz},
                     {"to_hz", w.to_hz},
                     {"duration_s", w.duration_s},
                     {"level_dbfs", w.level_dbfs}}};
        }
        Described operator()(const Pink& w) const {
            return {fmt::format("pink noise at {:g} dBFS rms", w.level_dbfs),
                    {{"kind", "pink"}, {"level_dbfs", w.level_dbfs}}};
        }
        Described operator()(const NearSilence&) const {
            return {"near-silence: dither of one 16-bit step, which keeps a source from muting",
                    {{"kind", "near_silence"}}};
        }
        Described operator()(const PolarityPulse& w) const {
            return {fmt::format("positive pulses at {:g} dBFS, one each {:g} s", w.level_dbfs, w.spacing_s),
                    {{"kind", "polarity_pulse"}, {"level_dbfs", w.level_dbfs}}};
        }
    };
    return std::visit(Describe{}, waveform);
}

// What the sound itself may harm: louder tones get the stronger words.
std::vector<Warning> cautions_for(const Waveform& waveform) {
    std::vector<Warning> cautions = {
        {"start_low",
         "Start at the source's lowest volume and turn up slowly; keep your ears away "
         "from the speakers.",
         std::nullopt}};
    const bool steady = std::holds_alternative<Sine>(waveform) || std::holds_alternative<Stepped>(waveform) ||
                        std::holds_alternative<TwoTone>(waveform);
    if (steady && peak_of(waveform) > amplitude_from_decibels(-6)) {
        cautions.push_back(
            {"speakers_off",
             "This tone is near full scale: play it only with the speakers disconnected or the "
             "amplifier off. Sines at full power burn voice coils, tweeters first.",
             std::nullopt});
    } else if (!std::holds_alternative<NearSilence>(waveform)) {
        cautions.push_back(
            {"tweeters",
             "Tweeters take little: protect or disconnect them before it gets loud. The markers play at "
             "-12 dBFS.",
             std::nullopt});
    } else {
        cautions.push_back({"markers_loud",
                            "The two markers play at -12 dBFS, far louder than what lies between them.",
                            std::nullopt});
    }
    return cautions;
}

std::string as_json(const Request& request, const Written& written) {
    nlohmann::ordered_json parts = nlohmann::ordered_json::array();
    for (const Part& part : parts_of(written.times)) {
        parts.push_back({{"what", part.what}, {"start_s", part.from_s}, {"end_s", part.to_s}});
    }
    const char* channel = written.form.left ? (written.form.right ? "both" : "left") : "right";
    return json_document("tones", {{"kind", request.kind}, {"out", request.out}},
                         {{"file", request.out},
                          {"tone", described(written.waveform).json},
                          {"sample_rate_hz", written.form.sample_rate_hz},
                          {"bits", written.form.bits},
                          {"channel", channel},
                          {"duration_s", written.times.total_s},
                          {"parts", std::move(parts)}},
                         cautions_for(written.waveform));
}

std::string as_text(const Request& request, const Written& written) {
    const char* channel = written.form.left ? (written.form.right ? "both channels" : "left channel alone")
                                            : "right channel alone";
    std::string text =
        fmt::format("{}\n  {}\n  {:g} Hz, {} bit, {}\n\n", request.out, described(written.waveform).words,
                    written.form.sample_rate_hz, written.form.bits, channel);
    for (const Part& part : parts_of(written.times))
        text += fmt::format("  {:8.2f} s to {:8.2f} s  {}\n", part.from_s, part.to_s, part.what);
    text += "\n";
    for (const Warning& caution : cautions_for(written.waveform)) text += "Caution: " + caution.text + "\n";
    return text;
}

}  // namespace

void add_tones_command(CLI::App& app, Context&) {
    CLI::App* command =
        app.add_subcommand("tones", "writes a test tone to a file that the source plays itself");
    const auto request = std::make_shared<Request>();
    offer(command->add_option("KIND", request->kind, fmt::format("{}", fmt::join(tone_kind_words(), ", ")))->required(), as_offer(tone_kind_words()));
    command->add_option("--out", request->out, "the file to write: .wav or .flac")->required()->type_name(file_type);
    ToneOptions& tone = request->tone;
    command->add_option("--frequency", tone.frequency,
                        "of a sine or stepped tone [Hz], 997 unless told otherwise");
    const auto list = [command](const char* name, std::vector<std::string>& into, const char* help) {
        command->add_option(name, into, help)->delimiter(',')->allow_extra_args(false);
    };
    list("--frequencies", tone.frequencies, "of the two tones [Hz], 60,7000 unless told otherwise");
    command->add_option("--level", tone.level,
                        "level [dBFS], -20 unless told otherwise; 0 to find where a source clips");
    list("--levels", tone.levels, "levels of a stepped tone or of the two tones [dBFS]");
    command->add_option("--step", request->step,
                        "how long each level of a stepped tone lasts [s], 2 unless told otherwise");
    command->add_option("--from-hz", tone.from_hz, "where a sweep starts [Hz], 20 unless told otherwise");
    command->add_option("--to-hz", tone.to_hz, "where a sweep ends [Hz], 20000 unless told otherwise");
    command->add_option("--duration", request->duration, "how long the tone lasts between the markers [s]");
    command->add_option("--seed", request->seed, "of noise: another number, other noise");
    command->add_option("--rate", request->rate, "sample rate [Hz], 44100 unless told otherwise");
    offer(command->add_option("--bits", request->bits, "16 or 24; 16 unless told otherwise"), {"16", "24"});
    offer(command->add_option("--channel", request->channel, "both, left or right; both unless told otherwise"), {"both", "left", "right"});
    command->add_flag("--force", request->force, "replace the file when it exists");
    command->add_flag("--json", request->json, "print one JSON document");
    command->callback([request] {
        const Written written = write(*request);
        fmt::print("{}", request->json ? as_json(*request, written) : as_text(*request, written));
    });
}

}  // namespace hushtrace::cli
