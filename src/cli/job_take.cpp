#include "job_take.hpp"

#include <algorithm>
#include <ctime>
#include <set>

#include "help_section.hpp"
#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/job/rpm_log.hpp"
#include "hushtrace/measure/capture_faults.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "job_edit.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

namespace fs = std::filesystem;

constexpr double kShortestTake_s = 0.2;  // common practice, no source: below this no reading means anything

std::string local_time(std::time_t when) {
    std::tm parts{};
    std::array<char, 32> text{};
    if (!::localtime_r(&when, &parts)) return {};
    return {text.data(), std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%S", &parts)};
}

/// ".flac" of "Idle 1.FLAC"; what can't be a suffix becomes ".wav", since files are read by their content.
std::string suffix_of(const fs::path& file) {
    std::string suffix = file.extension().string();
    std::transform(suffix.begin(), suffix.end(), suffix.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    const bool plain = suffix.size() > 1 && suffix.size() <= 6 &&
                       std::all_of(suffix.begin() + 1, suffix.end(),
                                   [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); });
    return plain ? suffix : ".wav";
}

/// The file's path inside the job's folder, if it lies there.
std::optional<std::string> inside(const fs::path& folder, const fs::path& file) {
    std::error_code fault;
    const fs::path relative = fs::canonical(file, fault).lexically_relative(fs::canonical(folder, fault));
    if (fault || relative.empty() || *relative.begin() == "..") return std::nullopt;
    return relative.generic_string();
}

/// Files that were copied in; taken out again unless the job took them.
class Copies {
public:
    explicit Copies(fs::path folder) : folder_(std::move(folder)) {}
    ~Copies() {
        std::error_code ignored;
        for (const std::string& name : names_) fs::remove(folder_ / name, ignored);
    }
    void bring(const fs::path& from, const std::string& name) {
        copy_whole(from, folder_ / name);
        names_.push_back(name);
    }
    void keep() { names_.clear(); }

private:
    fs::path folder_;
    std::vector<std::string> names_;
};

void make_takes_folder(const fs::path& folder) {
    std::error_code fault;
    fs::create_directory(folder / "takes", fault);
    if (!fs::is_directory(folder / "takes"))
        throw Error(ErrorKind::file_unwritable,
                    fmt::format("{}: the folder can't be made", (folder / "takes").string()));
}

/// Names the take's log, copied into takes/ unless it lies in the folder.
void bring_log(const fs::path& folder, const OpenedJob& opened, const fs::path& file, Take& take, Copies& copies) {
    if (const auto log = inside(folder, file)) {
        take.rpm_log = *log;
        return;
    }
    make_takes_folder(folder);
    take.rpm_log = free_take_name(opened, fs::path(take.file).stem().string(), ".csv");
    copies.bring(file, *take.rpm_log);
}

CaptureFaultOptions faults_to_look_for(const std::optional<PlayedTone>& tone) {
    CaptureFaultOptions options;
    if (!tone) return options;
    if (const auto* sine = std::get_if<Sine>(&tone->waveform)) options.tone_frequency_hz = sine->frequency_hz;
    if (const auto* stepped = std::get_if<Stepped>(&tone->waveform))
        options.tone_frequency_hz = stepped->frequency_hz;
    options.tone_pauses = tone->burst_s.has_value();
    options.look_for_tone =
        options.tone_frequency_hz.has_value() || std::holds_alternative<NearSilence>(tone->waveform);
    return options;
}

}  // namespace

Mark mark_from(const std::string& text) {
    const auto equals = text.find('=');
    if (equals == std::string::npos)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("--mark: {} is not written SECONDS=TEXT", in_quotes(text)));
    return {number_from("--mark", std::string_view(text).substr(0, equals)), text.substr(equals + 1)};
}

std::string local_time_now() {
    return local_time(std::time(nullptr));
}

SoundFacts read_through(const fs::path& file, const std::optional<PlayedTone>& tone) {
    TakeReader reader(file);
    SoundFacts facts;
    facts.sample_rate_hz = reader.sample_rate_hz();
    facts.channels = reader.channels();
    CaptureFaultFinder finder(facts.sample_rate_hz, facts.channels, faults_to_look_for(tone));
    Block block;
    while (const std::size_t got = reader.read(block, 1 << 15)) {
        facts.frames += got;
        finder.add(block);
    }
    if (facts.duration_s() < kShortestTake_s)
        throw Error(ErrorKind::too_short, fmt::format("{}: {:.3g} s of sound; a take needs {} s or more",
                                                      file.string(), facts.duration_s(), kShortestTake_s));
    const CaptureFaults found = finder.result();
    facts.faults = found.take_faults();
    facts.oddity = reader.oddity();
    if (!facts.oddity.empty()) facts.faults.push_back(TakeFault::stopped);
    std::set<CaptureFaultKind> told;
    for (const CaptureFault& event : found.events) {
        if (!told.insert(event.what).second) continue;  // the first of each kind is enough to look at
        facts.said.push_back(fmt::format("at {:.3f} s: {}", event.time_s, event.text));
    }
    for (const ChannelRemark& remark : found.remarks) facts.said.push_back(remark.text);
    return facts;
}

void TakeOptions::add_to(CLI::App& app) {
    const HelpSection section(app, "A take that is added");
    app.add_option("--add", add, "bring this sound file into the job as a take")->type_name(file_type);
    app.add_option("--name", name, "what the take's file is called in takes/");
    app.add_option("--volume-steps", volume_steps, "the volumes stepped through in this take, in order")
        ->delimiter(',')
        ->allow_extra_args(false);
    app.add_option("--mark", marks, "SECONDS=TEXT, a moment in the take; may be given again")
        ->allow_extra_args(false);
    app.add_option(
        "--rpm-log", rpm_log,
        "a CSV of the engine's speed, header time_s,rpm; copied into takes/. With --take, for a take that is there")
        ->type_name(file_type);
    app.add_option("--take", of_take,
                   "a take of the job that --rpm-log belongs to, or whose conditions are corrected by the options below: takes/idle.flac")
        ->type_name(take_type);
    app.add_option("--recorded-at", recorded_at, "when it was captured: 2026-01-31T10:12:00");
    app.add_option("--after-change", after_change,
                   "what was mended before, in words; \"ground remade\", \"lead rerouted 0.3 m\" and the like (docs/cures.md) "
                   "are held against what was promised");
}

AddedTake add_existing_take(const fs::path& folder, const TakeOptions& options, const ConditionsOptions& conditions,
                            const ChannelOptions& channels, const ToneOptions& tone) {
    OpenedJob opened = open_job(folder);
    const fs::path file(*options.add);
    Take take;
    take.tone = tone.tone();
    const SoundFacts sound = read_through(file, take.tone);
    take.conditions = conditions.conditions();
    take.channels = channels.channels_of(sound.channels);
    take.attenuation_db = channels.pads_of(sound.channels);
    take.volume_steps = numbers_from("--volume-steps", options.volume_steps);
    for (const std::string& mark : options.marks) take.marks.push_back(mark_from(mark));
    take.recorded_at = options.recorded_at;
    take.after_change = options.after_change;
    take.faults = sound.faults;

    Copies copies(folder);
    const auto present = inside(folder, file);
    {
        const FolderLock lock(folder);  // so that two programs don't pick one name
        if (present) {
            take.file = *present;
        } else {
            make_takes_folder(folder);
            take.file = free_take_name(opened, options.name.value_or(file.stem().string()), suffix_of(file));
            copies.bring(file, take.file);
        }
        if (options.rpm_log) bring_log(folder, opened, *options.rpm_log, take, copies);
    }
    opened = change_job(folder, [&](Job& job) { job.takes.push_back(take); });
    copies.keep();
    return {std::move(opened), std::move(take), sound};
}

AttachedLog attach_rpm_log(const fs::path& folder, const TakeOptions& options) {
    AttachedLog attached;
    OpenedJob opened = open_job(folder);
    Take take = opened.job.takes[take_meant(opened.job, *options.of_take)];
    Copies copies(folder);
    {
        const FolderLock lock(folder);
        bring_log(folder, opened, *options.rpm_log, take, copies);
    }
    const auto log = rpm_log_of(opened, take, attached.warnings);
    if (!log)
        throw Error(ErrorKind::invalid_input, attached.warnings.empty() ? take.file + ": the log can't be used"
                                                                        : attached.warnings.back().text);
    const auto [least, most] = std::minmax_element(log->rpm.begin(), log->rpm.end());
    attached.text = fmt::format("{}: {} rows from {:.1f} to {:.1f} s, {:.0f} to {:.0f} rpm", take.file,
                                log->rpm.size(), log->time_s.front(), log->time_s.back(), *least, *most);
    attached.opened = change_job(folder, [&](Job& job) {
        for (Take& one : job.takes)
            if (one.file == take.file) one.rpm_log = take.rpm_log;
    });
    copies.keep();
    attached.take = std::move(take);
    return attached;
}

}  // namespace hushtrace::cli
