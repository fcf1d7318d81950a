#include <algorithm>
#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "command.hpp"
#include "hushtrace/job/job_check.hpp"
#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/rpm_log.hpp"
#include "job_facts.hpp"
#include "job_summary.hpp"
#include "job_take.hpp"
#include "json_document.hpp"
#include "tone_file_found.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;

constexpr double kHighestGroundDifference_v =
    0.2;  // above it nothing is connected before the ground is mended

[[noreturn]] void refuse(const std::string& why) {
    throw Error(ErrorKind::invalid_request, why);
}

struct JobOptions {
    std::string folder;
    bool fresh = false, check = false, json = false;
    JobFacts facts;
    TakeOptions take;
    ConditionsOptions conditions;
    ChannelOptions channels;
    ToneOptions tone;
    std::vector<std::string> amplifier, observe;
    std::optional<std::string> reason, meter_good_to;
};

/// "80mV" in the unit that job.json uses for this observation.
double reading_from(const std::string& what, std::string_view unit, const std::string& text) {
    const Quantity quantity = quantity_from("--observe " + what, text);
    struct Prefix {
        std::string_view sign;
        double factor;
    };
    for (const Prefix& prefix : {Prefix{"", 1}, {"m", 1e-3}, {"u", 1e-6}, {"k", 1e3}})
        if (quantity.unit == std::string(prefix.sign) + std::string(unit) ||
            (quantity.unit.empty() && prefix.sign.empty()))
            return quantity.value * prefix.factor;
    refuse(fmt::format("--observe {}: {} is no unit for it; write it in {}", what, in_quotes(quantity.unit),
                       unit));
}

/// "ground_drop=0.08V", "noise_heard=gone", "shell_to_case=declined"
Observation observation_from(const std::string& text, const JobOptions& options) {
    Observation seen;
    const auto equals = text.find('=');
    seen.what = text.substr(0, equals);
    const auto unit = observation_unit(seen.what);
    if (!unit) refuse("--observe: " + none_of(seen.what, observation_words()));
    if (equals == std::string::npos || equals + 1 == text.size())
        refuse(fmt::format("--observe: {} has no value; write {}={}", in_quotes(text), seen.what,
                           unit->empty() ? std::string(heard_words(seen.what).back()) : "0.08" + std::string(*unit)));
    const std::string value = text.substr(equals + 1);
    seen.unit = std::string(*unit);
    seen.conditions = options.conditions.conditions();
    seen.after_change = options.take.after_change;
    if (seen.what == "amplifier_output") {
        seen.tone = options.tone.tone();
        if (seen.tone) ToneGenerator(seen.tone->waveform, 192000);  // refuses what no tone is
        seen.meter_good_to_hz = number_from("--meter-good-to", options.meter_good_to);
        if (seen.meter_good_to_hz && !(*seen.meter_good_to_hz > 0)) refuse("--meter-good-to: must be above 0 Hz");
    }
    if (value == "declined") {
        seen.declined = true;
        seen.reason = options.reason;
    } else if (unit->empty()) {
        seen.heard = value;
        const auto words = heard_words(seen.what);
        if (std::find(words.begin(), words.end(), value) == words.end())
            refuse(fmt::format("--observe {}: {}", seen.what, none_of(value, words)));
    } else {
        seen.value = reading_from(seen.what, *unit, value);
        if (*seen.value < 0)
            refuse(fmt::format("--observe {}: {} is negative; write it without its sign", seen.what,
                               in_quotes(value)));
    }
    return seen;
}

bool stops_the_job(const Observation& seen) {
    if (seen.what == "amplifier_wakes") return seen.heard == "only_with_lead";
    return (seen.what == "ground_drop" || seen.what == "shell_to_amplifier_ground") && seen.value.value_or(0) > kHighestGroundDifference_v;
}

/// One of the things that the command does, and what it says of it.
struct Outcome {
    OpenedJob opened;
    std::string text;
    Json results = Json::object();
    std::vector<Warning> warnings;
    bool summary = false;
};

Outcome open_new(JobOptions& options) {
    Outcome outcome;
    Job job;
    options.facts.amplifiers = options.amplifier;
    job = options.facts.described(job, outcome.warnings);
    if (job.title.empty()) refuse("--title: a new job needs one");
    if (!job.date) job.date = local_time_now().substr(0, 10);
    create_job(options.folder, job);
    outcome.opened = open_job(options.folder);
    outcome.text = fmt::format("New job in {}\n\n", options.folder);
    outcome.results["action"] = "new";
    outcome.summary = true;
    return outcome;
}

Outcome describe(JobOptions& options) {
    Outcome outcome;
    options.facts.amplifiers = options.amplifier;
    outcome.opened =
        change_job(options.folder, [&](Job& job) { job = options.facts.described(job, outcome.warnings); });
    outcome.results["action"] = "described";
    outcome.summary = true;
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
    for (const std::string& text : options.observe) seen.push_back(observation_from(text, options));
    outcome.opened = change_job(options.folder, [&](Job& job) {
        job.observations.insert(job.observations.end(), seen.begin(), seen.end());
    });
    outcome.results["action"] = "observed";
    outcome.results["observations"] = Json::array();
    for (const Observation& one : seen) {
        outcome.text += fmt::format("noted: {}\n", observation_in_short(one));
        outcome.results["observations"].push_back(Json::parse(observation_text(one)));
        if (one.what == "amplifier_wakes" && stops_the_job(one))
            outcome.warnings.push_back({"stop",
                                        "STOP: an amplifier that wakes only with the signal lead plugged in has lost its own ground: its supply current returns "
                                        "through the lead's shield. Connect no interface; pull the lead, mend the ground.",
                                        std::nullopt});
        else if (stops_the_job(one))
            outcome.warnings.push_back(
                {"stop",
                 fmt::format(
                     "STOP: {} is {} V, above {} V. Connect nothing; mend the ground, then measure again.",
                     one.what, *one.value, kHighestGroundDifference_v),
                 std::nullopt});
    }
    return outcome;
}

Outcome show(const JobOptions& options) {
    Outcome outcome;
    outcome.opened = open_job(options.folder);
    outcome.results["action"] = options.check ? "checked" : "shown";
    outcome.summary = true;
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
    const bool about_take = options.take.add.has_value(), about_ear = !options.observe.empty(),
               about_log = options.take.of_take.has_value();
    if (options.fresh + about_take + about_ear + about_log + options.check > 1)
        refuse("--new, --add, --take, --observe and --check are done one at a time");
    if (about_log && !options.take.rpm_log) refuse("--take: goes with --rpm-log FILE");
    if ((about_take || about_ear || about_log || options.check) && options.facts.any())
        refuse(
            "the job's description is changed by a command of its own, without --add, --observe or --check");
    if (!about_take && !about_ear)
        for (const std::string& text : options.amplifier)
            if (from_word<AmplifierState>(text))
                refuse(fmt::format("--amplifier: '{}' is a take's condition; it goes with --add or --observe",
                                   text));
    if (options.reason && !about_ear) refuse("--reason: goes with --observe WHAT=declined");
}

/// Without --add or --observe nobody has conditions; said, so that an option isn't lost in silence.
void require_nothing_idle(const CLI::App& app, const JobOptions& options) {
    const bool about_take = options.take.add.has_value(), about_ear = !options.observe.empty();
    const bool about_output = std::any_of(options.observe.begin(), options.observe.end(),
                                          [](const std::string& text) { return text.rfind("amplifier_output=", 0) == 0; });
    for (const char* const name : {"--engine", "--rpm", "--source", "--input", "--volume", "--hookup", "--loads",
                                   "--attached", "--laptop", "--point", "--at-amplifier", "--after-change"})
        if (!about_take && !about_ear && app.count(name) != 0)
            refuse(fmt::format("{}: goes with --add or --observe", name));
    if (options.meter_good_to && !about_output) refuse("--meter-good-to: goes with --observe amplifier_output=VOLTS");
    for (const char* const name : {"--tone", "--frequency", "--level", "--via"})
        if (!about_take && !about_output && app.count(name) != 0) refuse(fmt::format("{}: goes with --add", name));
    for (const char* const name : {"--channels", "--attenuation-db", "--frequencies", "--levels", "--from-hz", "--to-hz", "--duration",
                                   "--name", "--volume-steps", "--mark", "--rpm-log", "--recorded-at"})
        if (!about_take && app.count(name) != 0 && !(options.take.of_take && std::string_view(name) == "--rpm-log"))
            refuse(fmt::format("{}: goes with --add", name));
}

void run(const CLI::App& app, JobOptions& options) {
    require_one_action(options);
    require_nothing_idle(app, options);
    if (options.take.add || !options.observe.empty()) {
        if (options.amplifier.size() > 1) refuse("--amplifier: is either on or off");
        if (!options.amplifier.empty()) options.conditions.amplifier = options.amplifier.front();
    }
    Outcome outcome = options.fresh                                       ? open_new(options)
                      : options.take.add                                  ? add_take(options)
                      : options.take.of_take                              ? attach_log(options)
                      : !options.observe.empty()                          ? observe(options)
                      : options.facts.any() || !options.amplifier.empty() ? describe(options)
                                                                          : show(options);

    std::vector<Warning> odd = outcome.opened.warnings;
    odd.insert(odd.end(), outcome.warnings.begin(), outcome.warnings.end());
    const std::vector<Warning> missing = check_job(outcome.opened);
    if (options.json) {
        outcome.results["job"] = Json::parse(job_text(outcome.opened.job));
        outcome.results["missing"] = Json::array();
        for (const Warning& one : missing) {
            Json entry = {{"code", one.code}, {"text", one.text}};
            if (one.take) entry["take"] = *one.take;
            outcome.results["missing"].push_back(std::move(entry));
        }
        fmt::print("{}", json_document("job", {{"job", options.folder}, {"title", outcome.opened.job.title}},
                                       std::move(outcome.results), odd));
        return;
    }
    fmt::print("{}", outcome.text);
    if (outcome.summary) {
        fmt::print("{}", job_summary(outcome.opened));
        if (!missing.empty()) fmt::print("\nStill to do or to know\n{}", list_of(missing));
    }
    if (!odd.empty()) fmt::print("{}Warnings\n{}", outcome.summary ? "\n" : "", list_of(odd));
}

}  // namespace

void add_job_command(CLI::App& app, Context&) {
    auto* command =
        app.add_subcommand("job", "open a job, describe it, add a take or an observation, show it");
    const auto options = std::make_shared<JobOptions>();
    command->add_option("--job", options->folder, "the job's folder")->required();
    command->add_flag("--new", options->fresh, "make the folder and open a job in it");
    options->take.add_to(*command);
    command
        ->add_option("--observe", options->observe,
                     "WHAT=VALUE, such as ground_drop=0.08V or noise_heard=gone")
        ->allow_extra_args(false);
    command->add_option("--meter-good-to", options->meter_good_to,
                        "with --observe amplifier_output=VOLTS: the highest frequency [Hz] at which the meter reads right");
    command->add_option("--reason", options->reason, "why an observation was declined");
    command->add_flag("--check", options->check, "also read every take to its end");
    command->add_flag("--json", options->json, "print one JSON document");
    options->facts.add_to(*command);
    options->conditions.add_to(*command);
    command->remove_option(command->get_option("--amplifier"));
    command
        ->add_option("--amplifier", options->amplifier,
                     "NAME,power_w=500,load_ohm=2,sensitivity_v=0.2:6 (may be given again); with --add or "
                     "--observe: on "
                     "or off")
        ->allow_extra_args(false);
    options->channels.add_to(*command);
    options->tone.add_to(*command);
    command->callback([command, options] { run(*command, *options); });
}

}  // namespace hushtrace::cli
