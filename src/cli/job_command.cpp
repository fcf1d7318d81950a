#include <algorithm>
#include <array>
#include <cstdio>
#include <functional>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command.hpp"
#include "hushtrace/job/job_check.hpp"
#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/rpm_log.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/job/temporary_items.hpp"
#include "job_changes.hpp"
#include "job_edit.hpp"
#include "job_facts.hpp"
#include "job_observe.hpp"
#include "job_questions.hpp"
#include "job_summary.hpp"
#include "job_take.hpp"
#include "json_document.hpp"
#include "offers.hpp"
#include "tone_file_found.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;

struct JobOptions {
    std::string folder;
    bool fresh = false, check = false, json = false;
    JobFacts facts;
    TakeOptions take;
    ConditionsOptions conditions;
    ChannelOptions channels;
    ToneOptions tone;
    ObserveOptions seen;
    EditOptions edit;
    bool ask = false;
    std::vector<std::string> amplifier;
};

/// One of the things that the command does, and what it says of it.
struct Outcome {
    OpenedJob opened;
    std::string text;
    Json results = Json::object();
    std::vector<Warning> warnings;
    bool summary = false;
    KeptList kept;   ///< for a job that is shown
};

Json json_of(const std::vector<FieldChange>& changes) {
    Json list = Json::array();
    for (const FieldChange& one : changes) list.push_back({{"field", one.field}, {"before", one.before}, {"after", one.after}});
    return list;
}

/// Changes the job, and tells each field's old and new value.
Outcome change_told(const JobOptions& options, const char* action, const std::function<void(Job&)>& change) {
    Outcome outcome;
    std::vector<FieldChange> changes;
    outcome.opened = change_job(options.folder, [&](Job& job) {
        const Job before = job;
        change(job);
        changes = changes_between(before, job);
    });
    outcome.text = in_lines(changes);
    outcome.results["action"] = action;
    outcome.results["changes"] = json_of(changes);
    return outcome;
}

std::string folder_name(const std::string& folder) {
    std::filesystem::path path = std::filesystem::path(folder).lexically_normal();
    if (!path.has_filename()) path = path.parent_path();
    const std::string name = path.filename().string();
    return name.empty() || name == "." || !is_utf8(name) ? "job" : name;
}

/// What somebody at the terminal answered, merged into the job.
void ask_about(Job& job, bool fresh, const JobOptions& options) {
    std::vector<Warning> ignored;
    const std::string said = ask_for_description(job, fresh, folder_name(options.folder), std::cin, stderr);
    if (!said.empty()) job = described_by(job, said, "answers", ignored);
}

Outcome open_new(JobOptions& options) {
    Outcome outcome;
    Job job;
    options.facts.amplifiers = options.amplifier;
    job = options.facts.described(job, outcome.warnings);
    if (options.ask || (job.title.empty() && may_ask() && !options.json)) {
        std::error_code fault;  // said before the questions, not after them
        if (std::filesystem::exists(std::filesystem::path(options.folder) / "job.json", fault)) refuse(options.folder + ": holds a job already");
        ask_about(job, job.title.empty(), options);
    }
    if (job.title.empty()) refuse("--title: a new job needs one");
    if (!job.date) job.date = local_time_now().substr(0, 10);
    create_job(options.folder, job);
    outcome.opened = open_job(options.folder);
    outcome.text = fmt::format("New job in {}\n\n", options.folder);
    outcome.results["action"] = "new";
    outcome.summary = true;
    return outcome;
}

/// Description given by options, then what somebody answers to the questions that are left.
Outcome describe(JobOptions& options) {
    options.facts.amplifiers = options.amplifier;
    std::vector<Warning> warnings;
    std::string said;
    if (options.ask) {
        const Job job = options.facts.described(open_job(options.folder).job, warnings);
        said = ask_for_description(job, false, "", std::cin, stderr);
        warnings.clear();
    }
    Outcome outcome = change_told(options, "described", [&](Job& job) {
        for (const std::string& one : options.edit.remove) remove_part(job, one);
        for (const std::string& one : options.edit.rename) rename_part(job, one);
        job = options.facts.described(job, warnings);
        std::vector<Warning> ignored;
        if (!said.empty()) job = described_by(job, said, "answers", ignored);
    });
    outcome.text += "\n";
    outcome.warnings = std::move(warnings);
    outcome.summary = true;
    return outcome;
}

Outcome withdraw(const JobOptions& options) {
    std::string told;
    Outcome outcome = change_told(options, "withdrawn", [&](Job& job) {
        // from the end, so that the numbers that were typed stay true
        std::vector<std::string> what = options.edit.withdraw;
        const auto later = [](const std::string& a, const std::string& b) { return a.size() != b.size() ? a.size() > b.size() : a > b; };
        std::sort(what.begin(), what.end(), later);
        if (std::adjacent_find(what.begin(), what.end()) != what.end()) refuse("--withdraw: one entry is given twice");
        for (const std::string& one : what) told += withdraw_entry(job, one, options.folder);
    });
    outcome.text = told;
    return outcome;
}

Outcome correct(const JobOptions& options) {
    std::string file;
    Outcome outcome = change_told(options, "take_corrected", [&](Job& job) {
        Take& take = job.takes[take_meant(job, *options.take.of_take)];
        take = corrected_take(take, options.take, options.conditions, options.channels, options.tone);
        file = take.file;
    });
    for (const Take& one : outcome.opened.job.takes)
        if (one.file == file) outcome.results["take"] = Json::parse(take_text(one));
    return outcome;
}

Outcome add_take(const JobOptions& options) {
    Outcome outcome;
    AddedTake added =
        add_existing_take(options.folder, options.take, options.conditions, options.channels, options.tone);
    outcome.opened = std::move(added.opened);
    outcome.text =
        fmt::format("{}: {:.1f} s, {} channel{}, {:g} Hz; {}\n", added.take.file, added.sound.duration_s(),
                    added.sound.channels, added.sound.channels == 1 ? "" : "s", added.sound.sample_rate_hz,
                    conditions_in_short(added.take.conditions));
    if (!options.conditions.engine_stated())
        outcome.warnings.push_back(
            {"engine_unstated", "--engine was not given; 'off' is assumed", added.take.file});
    rpm_log_of(outcome.opened, added.take, outcome.warnings, added.sound.duration_s());
    if (!added.sound.oddity.empty())
        outcome.warnings.push_back({"take_cut_short", added.sound.oddity, added.take.file});
    for (const std::string& said : added.sound.said)
        outcome.warnings.push_back({"capture_fault", said, added.take.file});
    if (!added.take.faults.empty()) {
        std::vector<std::string_view> words;
        for (const TakeFault fault : added.take.faults) words.push_back(to_word(fault));
        outcome.warnings.push_back({"take_marked",
                                    fmt::format("{}: marked {}", added.take.file, fmt::join(words, ", ")),
                                    added.take.file});
    }
    const auto tone_file = find_tone_file(take_path(outcome.opened, added.take), added.take);
    if (tone_file) outcome.text += tone_file->text() + "\n";
    outcome.results["action"] = "take_added";
    outcome.results["tone_file"] = tone_file ? tone_file->json() : Json(nullptr);
    outcome.results["take"] = Json::parse(take_text(added.take));
    outcome.results["duration_s"] = added.sound.duration_s();
    outcome.results["sample_rate_hz"] = added.sound.sample_rate_hz;
    return outcome;
}

Outcome attach_log(const JobOptions& options) {
    Outcome outcome;
    AttachedLog attached = attach_rpm_log(options.folder, options.take);
    outcome.opened = std::move(attached.opened);
    outcome.text = attached.text + "\n";
    outcome.warnings = std::move(attached.warnings);
    outcome.results["action"] = "log_attached";
    outcome.results["take"] = Json::parse(take_text(attached.take));
    return outcome;
}

Outcome observe(const JobOptions& options) {
    Outcome outcome;
    std::vector<Observation> seen;
    outcome.opened = change_job(options.folder, [&](Job& job) {
        for (const std::string& text : options.seen.observe)
            for (Observation& one : observations_from(text, options.seen, options.conditions, options.tone, job)) {
                job.observations.push_back(one);
                seen.push_back(std::move(one));
            }
    });
    outcome.results["action"] = "observed";
    outcome.results["observations"] = Json::array();
    for (const Observation& one : seen) {
        outcome.text += fmt::format("noted: {}\n", observation_in_short(one));
        outcome.results["observations"].push_back(Json::parse(observation_text(one)));
        if (auto stop = stop_warning(one)) outcome.warnings.push_back(std::move(*stop));
    }
    if (std::any_of(seen.begin(), seen.end(), [](const Observation& one) { return one.what == "removed"; })) {
        const auto left = items_still_in(outcome.opened.job);
        outcome.text += left.empty() ? "Nothing temporary is in the vehicle any more.\n" : "Still in:\n";
        for (const TemporaryItem& one : left) outcome.text += fmt::format("  - {}\n", clean_text(item_in_words(one)));
    }
    return outcome;
}

Outcome show(const JobOptions& options) {
    Outcome outcome;
    outcome.opened = open_job(options.folder);
    outcome.results["action"] = options.check ? "checked" : "shown";
    outcome.summary = true;
    outcome.kept = kept_results(outcome.opened.folder);
    outcome.warnings = outcome.kept.warnings;
    outcome.results["kept"] = Json::array();
    for (const KeptResults& one : outcome.kept.results)
        outcome.results["kept"].push_back({{"at", one.at}, {"version", one.version}, {"file", one.file.generic_string()}});
    if (!options.check) return outcome;
    for (const Take& take : outcome.opened.job.takes) try {
            const SoundFacts sound = read_through(take_path(outcome.opened, take), take.tone);
            for (const TakeFault fault : sound.faults)
                if (!take.has(fault))
                    outcome.warnings.push_back({"fault_not_marked",
                                                fmt::format("{}: shows '{}', which job.json does not say",
                                                            in_quotes(take.file), to_word(fault)),
                                                take.file});
            if (sound.channels != take.channels.size())
                outcome.warnings.push_back(
                    {"channels_differ",
                     fmt::format("{}: the job names {} channels, the file has {}", in_quotes(take.file),
                                 take.channels.size(), sound.channels),
                     take.file});
        } catch (const Error& error) {
            outcome.warnings.push_back({"take_unreadable", error.what(), take.file});
        }
    return outcome;
}

void require_one_action(const JobOptions& options) {
    const bool about_take = options.take.add.has_value(), about_ear = !options.seen.observe.empty(), about_old = options.take.of_take.has_value();
    const bool back = !options.edit.withdraw.empty(), parts = !options.edit.remove.empty() || !options.edit.rename.empty();
    if (options.fresh + about_take + about_ear + about_old + back + options.check > 1)
        refuse("--new, --add, --take, --observe, --withdraw and --check are done one at a time");
    if ((about_take || about_ear || about_old || back || options.check) && (options.facts.any() || parts || options.ask))
        refuse("the job's description is changed by a command of its own, without --add, --take, --observe, --withdraw or --check");
    if (options.fresh && parts) refuse("--remove and --rename change a job that is there");
    if (options.ask && !may_ask())
        refuse("--ask: asks on a terminal; here give what is known by options, such as --cylinders 4 (hushtrace job --help lists them)");
    if (options.ask && options.json) refuse("--ask: asks a person; --json is for programs");
    if (!about_take && !about_ear && !about_old)
        for (const std::string& text : options.amplifier)
            if (from_word<AmplifierState>(text))
                refuse(fmt::format("--amplifier: '{}' is a take's condition; it goes with --add, --take or --observe", text));
    if (options.seen.reason && !about_ear) refuse("--reason: goes with --observe WHAT=declined");
}

constexpr std::array kConditionNames = {"--engine", "--rpm", "--source", "--input", "--volume", "--hookup", "--loads",
                                        "--attached", "--laptop", "--point", "--at-amplifier", "--after-change"};
constexpr std::array kToneNames = {"--tone", "--frequency", "--level", "--via"};
constexpr std::array kTakeNames = {"--channels", "--attenuation-db", "--frequencies", "--levels", "--from-hz", "--to-hz", "--duration",
                                   "--volume-steps", "--mark", "--rpm-log", "--recorded-at"};

/// Without --add, --take or --observe nobody has conditions; said, so that an option isn't lost in silence.
void require_nothing_idle(const CLI::App& app, const JobOptions& options) {
    const bool about_take = options.take.add || options.take.of_take, about_ear = !options.seen.observe.empty();
    const bool about_output = std::any_of(options.seen.observe.begin(), options.seen.observe.end(),
                                          [](const std::string& text) { return text.rfind("amplifier_output=", 0) == 0; });
    const auto is_given = [&app](const char* name) { return app.count(name) != 0; };
    const auto any_given = [&](const auto& names) { return std::any_of(names.begin(), names.end(), is_given); };
    for (const char* const name : kConditionNames)
        if (!about_take && !about_ear && app.count(name) != 0) refuse(fmt::format("{}: goes with --add, --take or --observe", name));
    if (options.seen.meter_good_to && !about_output) refuse("--meter-good-to: goes with --observe amplifier_output=VOLTS");
    for (const char* const name : kToneNames)
        if (!about_take && !about_output && app.count(name) != 0) refuse(fmt::format("{}: goes with --add or --take", name));
    for (const char* const name : kTakeNames)
        if (!about_take && app.count(name) != 0) refuse(fmt::format("{}: goes with --add or --take", name));
    if (options.take.name && !options.take.add) refuse("--name: goes with --add");
    if (!options.take.of_take) return;
    const bool corrects = any_given(kConditionNames) || any_given(kToneNames) || !options.amplifier.empty() ||
                          std::any_of(kTakeNames.begin(), kTakeNames.end(),
                                      [&app](const char* name) { return std::string_view(name) != "--rpm-log" && app.count(name) != 0; });
    if (!corrects && !options.take.rpm_log) refuse("--take: say what to correct, such as --rpm 780, or give --rpm-log FILE");
    if (corrects && options.take.rpm_log && *options.take.rpm_log != "unknown") refuse("--rpm-log: a log is given by a command of its own");
}

Outcome done(JobOptions& options) {
    if (options.fresh) return open_new(options);
    if (options.take.add) return add_take(options);
    if (options.take.of_take) return options.take.rpm_log && *options.take.rpm_log != "unknown" ? attach_log(options) : correct(options);
    if (!options.seen.observe.empty()) return observe(options);
    if (!options.edit.withdraw.empty()) return withdraw(options);
    if (options.facts.any() || !options.amplifier.empty() || options.edit.any() || options.ask) return describe(options);
    return show(options);
}

void run(const CLI::App& app, JobOptions& options) {
    require_one_action(options);
    require_nothing_idle(app, options);
    options.seen.after_change = options.take.after_change;
    if (options.take.add || options.take.of_take || !options.seen.observe.empty()) {
        if (options.amplifier.size() > 1) refuse("--amplifier: is either on or off");
        if (!options.amplifier.empty()) options.conditions.amplifier = options.amplifier.front();
    }
    Outcome outcome = done(options);

    std::vector<Warning> odd = outcome.opened.warnings;
    odd.insert(odd.end(), outcome.warnings.begin(), outcome.warnings.end());
    const std::vector<OpenPoint> missing = open_points(outcome.opened);
    if (options.json) {
        outcome.results["job"] = Json::parse(job_text(outcome.opened.job));
        outcome.results["missing"] = Json::array();
        for (const OpenPoint& one : missing) {
            Json entry = {{"code", one.what.code}, {"text", one.what.text}};
            if (one.what.take) entry["take"] = *one.what.take;
            entry["make"] = one.make;
            outcome.results["missing"].push_back(std::move(entry));
        }
        fmt::print("{}", json_document("job", {{"job", options.folder}, {"title", outcome.opened.job.title}},
                                       std::move(outcome.results), odd));
        return;
    }
    fmt::print("{}", outcome.text);
    if (outcome.summary) {
        fmt::print("{}{}", job_summary(outcome.opened), kept_in_words(outcome.opened, outcome.kept));
        std::vector<OpenPoint> left = missing, in_place;
        const auto first_in = std::stable_partition(left.begin(), left.end(), [](const OpenPoint& one) { return one.what.code != "still_in"; });
        in_place.assign(first_in, left.end());
        left.erase(first_in, left.end());
        if (!left.empty()) fmt::print("\nStill to do or to know\n{}", open_in_words(left));
        if (!in_place.empty()) fmt::print("\nStill in the vehicle: take out before it is handed back\n{}", open_in_words(in_place));
    }
    if (!odd.empty()) fmt::print("{}Warnings\n{}", outcome.summary ? "\n" : "", list_of(odd));
}

}  // namespace

void add_job_command(CLI::App& app, Context&) {
    auto* command =
        app.add_subcommand("job", "opens a job, describes and changes it, adds a take or an observation, shows it");
    const auto options = std::make_shared<JobOptions>();
    command->add_option("--job", options->folder, "the job's folder")->required()->type_name(folder_type);
    command->add_flag("--new", options->fresh, "make the folder and open a job in it");
    options->take.add_to(*command);
    command->add_flag("--ask", options->ask, "on a terminal: asks for what the job doesn't say yet; --new without --title does so by itself");
    offer(command->add_option("--observe", options->seen.observe,
                              "WHAT=VALUE, such as ground_drop=0.08V or noise_heard=gone; removed=isolator (or removed=all) for a temporary "
                              "item that came out again")
              ->allow_extra_args(false),
          as_offer(observation_words(), "="));
    command->add_option("--meter-good-to", options->seen.meter_good_to,
                        "with --observe amplifier_output=VOLTS: the highest frequency [Hz] at which the meter reads right");
    command->add_option("--reason", options->seen.reason, "why an observation was declined");
    options->edit.add_to(*command);
    command->add_flag("--check", options->check, "also read every take to its end");
    command->add_flag("--json", options->json, "print one JSON document");
    options->facts.add_to(*command);
    options->conditions.add_to(*command);
    command->remove_option(command->get_option("--amplifier"));
    command
        ->add_option("--amplifier", options->amplifier,
                     "NAME,power_w=500,load_ohm=2,sensitivity_v=0.2:6 (may be given again); with --add, --take or --observe: on or off")
        ->allow_extra_args(false);
    options->channels.add_to(*command);
    options->tone.add_to(*command);
    command->callback([command, options] { run(*command, *options); });
}

}  // namespace hushtrace::cli
