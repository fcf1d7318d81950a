#include "capture_output.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <utility>

#include "hushtrace/job/spelling.hpp"
#include "hushtrace/report/wording.hpp"
#include "json_document.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;
constexpr double near_full_dbfs = -1.0;
constexpr std::size_t most_events_told = 3;

Json number_or_null(double value) {
    return std::isfinite(value) ? Json(std::round(value * 100) / 100) : Json(nullptr);
}

double stored_s(const CaptureOutcome& outcome) {
    return static_cast<double>(outcome.frames) / outcome.sample_rate_hz;
}

Json levels_json(const CaptureOutcome& outcome) {
    Json levels = Json::array();
    for (std::size_t c = 0; c < outcome.levels.size(); ++c)
        levels.push_back({{"channel", to_word(outcome.take.channels[c])},
                          {"peak_dbfs", number_or_null(outcome.levels[c].peak_dbfs)},
                          {"rms_dbfs", number_or_null(outcome.levels[c].rms_dbfs)}});
    return levels;
}

Json event_json(const CaptureFault& event, const std::vector<Channel>& channels) {
    Json one = {{"what", to_word(event.what)},
                {"time_s", event.time_s},
                {"channel", to_word(channels.at(event.channel))},
                {"text", event.text},
                {"duration_s", event.duration_s}};
    one["phase_step_deg"] = event.phase_step_deg ? Json(*event.phase_step_deg) : Json(nullptr);
    one["lost_frames"] = event.lost_frames ? Json(*event.lost_frames) : Json(nullptr);
    one["lost_frames_certain"] = event.lost_frames_certain;
    return one;
}

Json faults_json(const CaptureOutcome& outcome) {
    const CaptureFaults& found = outcome.faults;
    Json events = Json::array(), words = Json::array();
    for (const CaptureFault& event : found.events) events.push_back(event_json(event, outcome.take.channels));
    for (const TakeFault fault : outcome.take.faults) words.push_back(to_word(fault));
    const auto or_null = [](const std::optional<double>& value) {
        return value ? Json(*value) : Json(nullptr);
    };
    return {{"faults", std::move(words)},
            {"dropouts_in_data", found.dropout_count},
            {"overloads_in_data", found.overload_count},
            {"input_overflows_flagged", outcome.flagged_overflows},
            {"output_underflows_flagged", outcome.flagged_underflows},
            {"followed_tone_hz", or_null(found.tone_frequency_hz)},
            {"followed_tone_snr_db", or_null(found.tone_snr_db)},
            {"least_phase_step_seen_deg", or_null(found.seen_phase_step_deg)},
            {"events", std::move(events)}};
}

const char* ending(const CaptureOutcome& outcome) {
    if (outcome.failure)
        return outcome.failure->kind() == ErrorKind::disk_failed ? "disk_failed" : "device_failed";
    return outcome.stopped_by_user ? "stopped_by_user" : "complete";
}

std::string level_words(double dbfs) {
    return std::isfinite(dbfs) ? fmt::format("{:6.1f}", dbfs) : "silent";
}

/// The first few events of the kinds that `belongs` names, as one sentence each.
template <class Belongs>
std::string told(const CaptureFaults& faults, Belongs belongs) {
    std::vector<std::string> first;
    std::size_t count = 0;
    for (const CaptureFault& event : faults.events)
        if (belongs(event.what) && ++count <= most_events_told)
            first.push_back(fmt::format("at {:.3f} s {}", event.time_s, event.text));
    return fmt::format("{}", fmt::join(first, "; "));
}

/// "at 2.010 s", with what is said of flat tops below full scale; what to do is the warning's own to say.
std::string first_overload(const CaptureFaults& faults) {
    const CaptureFault* first = nullptr;
    for (const CaptureFault& event : faults.events)
        if (event.what == CaptureFaultKind::overload && (!first || event.time_s < first->time_s)) first = &event;
    if (!first) return "in what isn't kept";
    const std::string what = first->text.substr(0, first->text.find(':'));
    return fmt::format("at {:.3f} s", first->time_s) + (what == "the input was overloaded" ? std::string() : " (" + what + ")");
}

}  // namespace

std::vector<Warning> capture_warnings(const CaptureOutcome& outcome) {
    std::vector<Warning> warnings;
    const auto warn = [&](const char* code, const std::string& text) {
        warnings.push_back({code, text, outcome.take.file});
    };
    const CaptureFaults& found = outcome.faults;
    if (found.has_dropout())
        warn("dropout",
             fmt::format(
                 "The sound has {} break(s), found in the data: {}. Capture again; close other programs, "
                 "try --frames 512 --latency 0.1.",
                 found.dropout_count, told(found, [](CaptureFaultKind kind) {
                     return kind != CaptureFaultKind::overload && kind != CaptureFaultKind::source_muted;
                 })));
    if (outcome.flagged_overflows > 0)
        warn("input_overflow", fmt::format("The device reported lost input {} time(s). Capture again.",
                                           outcome.flagged_overflows));
    if (outcome.flagged_underflows > 0)
        warn("output_underflow",
             fmt::format("The tone was interrupted {} time(s): the output ran dry. Capture again.",
                         outcome.flagged_underflows));
    if (found.has_overload())
        warn("overload",
             fmt::format(
                 "The interface's input was overloaded {} time(s), first {}. Turn the interface's input "
                 "down (calibrate again) or put in a pad, and capture again.",
                 found.overload_count, first_overload(found)));
    if (found.has_source_muted())
        warn(
            "source_muted",
            "The source muted its output during the take. Play near-silence ('hushtrace tones near_silence') "
            "in place of silence.");
    if (found.too_short)
        warn("too_short", fmt::format("{:.2f} s is too short to measure anything by.", found.duration_s));
    for (const ChannelRemark& remark : found.remarks)
        warn(remark.code.c_str(),
             fmt::format("{}: {}", to_word(outcome.take.channels.at(remark.channel)), remark.text));
    if (outcome.failure)
        warn("stopped", fmt::format("The capture broke off after {:.1f} s; what came before is kept: {}",
                                    stored_s(outcome), outcome.failure->what()));
    return warnings;
}

std::string capture_json(const std::string& job, const std::string& from, const CaptureOutcome& outcome,
                         const std::optional<ToneFileFound>& tone_file, const std::vector<Warning>& warnings) {
    Json channels = Json::array(), marks = Json::array();
    for (const Channel channel : outcome.take.channels) channels.push_back(to_word(channel));
    for (const Mark& mark : outcome.take.marks)
        marks.push_back({{"time_s", mark.time_s}, {"text", mark.text}});
    Json results;
    results["take"] = outcome.take.file;
    results["ended"] = ending(outcome);
    results["frames"] = outcome.frames;
    results["duration_s"] = stored_s(outcome);
    results["sample_rate_hz"] = outcome.sample_rate_hz;
    results["channels"] = std::move(channels);
    results["levels"] = levels_json(outcome);
    results["marks"] = std::move(marks);
    results["examination"] = faults_json(outcome);
    results["tone_file"] = tone_file ? tone_file->json() : Json(nullptr);
    return json_document("capture", {{"job", job}, {"from", from}}, std::move(results), warnings);
}

std::string capture_text(const CaptureOutcome& outcome, const std::optional<ToneFileFound>& tone_file,
                         const std::vector<Warning>& warnings) {
    std::string text = fmt::format("{}: {:.{}f} s at {:g} Hz{}\n", outcome.take.file, stored_s(outcome),
                                   stored_s(outcome) < 1 ? 2 : 1, outcome.sample_rate_hz,
                                   outcome.failure           ? ", broken off"
                                   : outcome.stopped_by_user ? ", stopped by hand"
                                                             : "");
    for (std::size_t c = 0; c < outcome.levels.size(); ++c)
        text +=
            fmt::format("  {:<14} peak {} dBFS   rms {} dBFS\n", to_word(outcome.take.channels[c]),
                        level_words(outcome.levels[c].peak_dbfs), level_words(outcome.levels[c].rms_dbfs));
    for (const Mark& mark : outcome.take.marks)
        text += fmt::format("  mark at {:.1f} s: {}\n", mark.time_s, clean_text(mark.text));
    if (tone_file)
        for (const std::string& line : wrap_text(tone_file->text(), 78)) text += "  " + line + "\n";
    if (!outcome.take.faults.empty()) {
        std::vector<std::string_view> words;
        for (const TakeFault fault : outcome.take.faults) words.push_back(to_word(fault));
        text += fmt::format("  marked: {}\n", fmt::join(words, ", "));
    }
    for (const Warning& warning : warnings)
        for (const std::string& line : wrap_text("! " + clean_text(warning.text), 80)) text += line + "\n";
    return text;
}

ProgressLine::ProgressLine(std::FILE* to, bool terminal, std::vector<Channel> channels)
    : to_(to), terminal_(terminal), channels_(std::move(channels)) {}

void ProgressLine::show(const CaptureProgress& progress, const std::string& typed) {
    if (!terminal_ && progress.captured_s < next_s_) return;
    next_s_ = progress.captured_s + 5.0;
    std::string line = std::isfinite(progress.duration_s)
                           ? fmt::format("{:6.1f} of {:.1f} s", progress.captured_s, progress.duration_s)
                           : fmt::format("{:6.1f} s", progress.captured_s);
    for (std::size_t c = 0; c < progress.levels.size(); ++c)
        line += fmt::format("  {} {}{}", to_word(channels_[c]), level_words(progress.levels[c].rms_dbfs),
                            progress.levels[c].peak_dbfs > near_full_dbfs ? " FULL" : "");
    if (progress.volume)
        line += fmt::format("  volume {:g} for {:.0f} s", *progress.volume, std::ceil(progress.step_left_s));
    if (progress.overloads > 0) line += fmt::format("  overloads {}", progress.overloads);
    if (progress.dropouts > 0) line += fmt::format("  breaks {}", progress.dropouts);
    if (!typed.empty()) line += "  > " + typed;
    if (terminal_) {
        fmt::print(to_, "\r\x1b[K{}", line);
        open_ = true;
    } else {
        fmt::print(to_, "{}\n", line);
    }
    std::fflush(to_);
}

void ProgressLine::end() {
    if (open_) fmt::print(to_, "\r\x1b[K");
    open_ = false;
    std::fflush(to_);
}

}  // namespace hushtrace::cli
