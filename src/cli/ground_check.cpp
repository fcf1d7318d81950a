#include "ground_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iostream>
#include <vector>

#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/live/precautions.hpp"
#include "help_section.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

struct Reading {
    std::string_view name, option;
    const char* question;
};
constexpr std::array readings = {
    Reading{shell_reading, "--shell-volts",
            "Before the first lead goes on. Amplifier OFF, leads out of it: read the volts from the lead's "
            "shell to the\n"
            "amplifier's ground terminal, on the ac and the dc range, and take the larger."},
    Reading{drop_reading, "--ground-drop",
            "Amplifier ON, loads on, signal leads OUT: read the volts from the amplifier's ground terminal "
            "to battery\n"
            "negative."}};

const char* what_to_do =
    "before the first lead goes on, read the volts from lead shell to amplifier ground (amplifier off) and "
    "the ground "
    "drop (amplifier and loads on, signal leads out), and give --shell-volts and --ground-drop, or "
    "--decline-ground-check REASON";

double volts_from(std::string_view option, std::string_view text) {
    const Quantity quantity = quantity_from(option, text);
    if (quantity.unit.empty() || quantity.unit == "V") return quantity.value;
    if (quantity.unit == "mV") return quantity.value / 1000.0;
    throw Error(ErrorKind::invalid_request, fmt::format("{}: {} is not in V or mV", option, in_quotes(text)));
}

/// What was answered to one of the questions: volts, or why there are none.
struct Answer {
    std::optional<double> volts;
    std::string reason;
};

/// Words do where nothing was read yet. A reading that was bad is only done away with by a better one.
Answer ask(const Reading& reading, std::optional<double> bad_volts, std::FILE* asks) {
    fmt::print(asks, "\n{}\n", reading.question);
    if (bad_volts) fmt::print(asks, "{}.\n", bad_ground_text(reading.name, *bad_volts));
    for (int attempt = 0; attempt < 5; ++attempt) {
        fmt::print(asks, "{}: ", bad_volts ? "Volts now that it is mended" : "Volts, or in words why it can't be read");
        std::fflush(asks);
        std::string line;
        if (!std::getline(std::cin, line)) break;
        const std::size_t first = line.find_first_not_of(" \t");
        if (first == std::string::npos) continue;
        line = line.substr(first, line.find_last_not_of(" \t") - first + 1);
        if (std::string_view("0123456789+-.,").find(line.front()) == std::string_view::npos) {
            if (!bad_volts) return {std::nullopt, line};
            fmt::print(asks, "Only a reading does. ");
            continue;
        }
        std::replace(line.begin(), line.end(), ',', '.');  // as many meters and people write it
        try {
            return {volts_from(reading.name, line), {}};
        } catch (const Error& error) {
            fmt::print(asks, "{}\n", error.what());
        }
    }
    throw Error(ErrorKind::invalid_request, bad_volts ? bad_ground_text(reading.name, *bad_volts) : what_to_do);
}

Observation observation_of(const Reading& reading, const Answer& answer, const Conditions& of_take) {
    Observation seen;
    seen.what = std::string(reading.name);
    seen.unit = "V";
    if (answer.volts)
        seen.value = std::abs(*answer.volts);  // the sign only says which way round the leads were
    seen.declined = !answer.volts;
    if (seen.declined) seen.reason = answer.reason;
    seen.conditions.engine = of_take.engine;
    seen.conditions.rpm = of_take.rpm;
    const bool under_load = reading.name == drop_reading;
    seen.conditions.amplifier = under_load ? AmplifierState::on : AmplifierState::off;
    if (under_load) seen.conditions.loads = of_take.loads;
    return seen;
}

void record(const std::filesystem::path& job_folder, const Observation& seen) {
    change_job(job_folder, [&seen](Job& job) { job.observations.push_back(seen); });
}

[[noreturn]] void refuse_bad(const Reading& reading, double volts) {
    throw Error(ErrorKind::invalid_request, bad_ground_text(reading.name, volts));
}

double last_value(const Job& job, std::string_view reading) {
    double last = 0;
    for (const Observation& one : job.observations)
        if (one.what == reading && one.value) last = *one.value;
    return last;
}

}  // namespace

void GroundOptions::add_to(CLI::App& app) {
    const HelpSection section(app, "Ground check, before the first lead goes on");
    app.add_option("--shell-volts", shell_volts,
                   "read before the first lead: lead shell to amplifier ground, amplifier off [V]");
    app.add_option(
        "--ground-drop", ground_drop,
        "read before the first lead: amplifier ground to battery negative, amplifier and loads on [V]");
    app.add_option("--decline-ground-check", declined,
                   "why the two readings can't be taken; goes into the job");
    app.add_flag("--meter", meter, "with --simulate: take both readings with the simulated vehicle's meter");
}

void GroundOptions::check() const {
    if (shell_volts) volts_from("--shell-volts", *shell_volts);
    if (ground_drop) volts_from("--ground-drop", *ground_drop);
    if (declined && declined->find_first_not_of(" \t") == std::string::npos)
        throw Error(ErrorKind::invalid_request, "--decline-ground-check: say why in a few words");
}

void settle_ground_check(const std::filesystem::path& job_folder, const Conditions& conditions,
                         const GroundOptions& options, const Meter& meter, std::FILE* asks) {
    options.check();
    const Job job = open_job(job_folder).job;
    const std::array given = {options.shell_volts, options.ground_drop};
    const bool matters = ground_check_matters(conditions);
    std::array<std::optional<Answer>, 2> answers;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const GroundState state = ground_state(job, readings[i].name);
        if (given[i])
            answers[i] = Answer{volts_from(readings[i].option, *given[i]), {}};
        else if (options.meter && meter && (state != GroundState::settled))
            answers[i] = Answer{meter(readings[i].name), {}};
        else if (options.declined && state == GroundState::missing)
            answers[i] = Answer{std::nullopt, *options.declined};
        else if (!matters || state == GroundState::settled || asks != nullptr)
            continue;  // nothing to do, or asked for below
        else if (state == GroundState::bad)
            throw Error(ErrorKind::invalid_request,
                        fmt::format("{}; then give {}",
                                    bad_ground_text(readings[i].name, last_value(job, readings[i].name)),
                                    readings[i].option));
        else
            throw Error(ErrorKind::invalid_request, what_to_do);
    }
    const Reading* bad = nullptr;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const GroundState state = ground_state(job, readings[i].name);
        if (!answers[i] && matters && state != GroundState::settled && bad == nullptr)
            answers[i] = ask(readings[i],
                             state == GroundState::bad ? std::optional(last_value(job, readings[i].name)) : std::nullopt, asks);
        if (!answers[i]) continue;
        record(job_folder, observation_of(readings[i], *answers[i], conditions));
        if (answers[i]->volts && std::abs(*answers[i]->volts) > highest_ground_volts && bad == nullptr)
            bad = &readings[i];
    }
    if (bad != nullptr) refuse_bad(*bad, *answers[static_cast<std::size_t>(bad - readings.data())]->volts);
}

}  // namespace hushtrace::cli
