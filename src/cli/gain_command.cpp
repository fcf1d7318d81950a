#include <fmt/format.h>

#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "command.hpp"
#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "live_options.hpp"
#include "offers.hpp"
#include "print.hpp"
#include "values.hpp"

namespace hushtrace::cli {

namespace {

struct GainOptions {
    std::string job;
    bool json = false, live = false;
    std::optional<std::string> allowance, driver;
    LiveOptions session;
};

std::string told_of(const LiveOutcome& outcome) {
    if (!outcome.ceiling) return fmt::format("No clean step among {}. Nothing was stored.\n", outcome.steps.size());
    const LiveStep& step = outcome.ceiling->step;
    const std::string place = step.volume ? fmt::format("volume {:g}", *step.volume) : fmt::format("step {}", step.number);
    return fmt::format("{} up to {}, {:.2f} dBFS, THD {:.3f} %. Nothing was stored.\n",
                       outcome.ceiling->final ? "The source plays clean" : "Clean so far: no step was too much. Clean", place,
                       step.level_dbfs, step.thd_percent);
}

constexpr double kMostDriver_db = 40.0;  // 100 times the voltage

std::optional<double> within(const char* option, const std::optional<std::string>& text, double lowest, double highest) {
    const auto value = number_from(option, text);
    if (value && !(*value >= lowest && *value <= highest))
        throw Error(ErrorKind::invalid_request, fmt::format("{}: {:g} dB is not from {:g} to {:g} dB", option, *value, lowest, highest));
    return value;
}

/// Captures one more stepped take under the eyes of the hand on the knob.
LiveOutcome capture_live(GainOptions& options) {
    options.session.sound.job = options.job;
    if (options.session.no_take && options.json)
        throw Error(ErrorKind::invalid_request, "--json: goes with a stored take, so without --no-take");
    return run_live_session(LiveTask::gain, options.session);
}

}  // namespace

void add_gain_command(CLI::App& app, Context& context) {
    const auto options = std::make_shared<GainOptions>();
    CLI::App* command = app.add_subcommand(
        "gain", "finds how loud the source may go, and where each amplifier's gain must stand");
    command->add_option("--job", options->job, "the job's folder")->required()->type_name(folder_type);
    command->add_option("--allowance", options->allowance,
                        "for recordings that stay below full scale, the gain stands so many dB higher; in place of the job's allowance_db");
    command->add_option("--driver", options->driver,
                        "by how many dB a line driver, or another source, is thought to lift the level; 6 unless told otherwise");
    command->add_flag("--json", options->json, "print one JSON document");
    const CLI::Option* const live = command->add_flag(
        "--live", options->live, "capture now, hand on the knob: shows each step and what to do next, then tells the result");
    std::set<const CLI::Option*> without;
    for (const CLI::Option* one : command->get_options({})) without.insert(one);
    options->session.add_knob_to(*command);
    options->session.add_to(*command);
    std::vector<const CLI::Option*> with_live;
    for (const CLI::Option* one : command->get_options({}))
        if (!without.contains(one)) with_live.push_back(one);
    command->callback([options, live, with_live, &context] {
        for (const CLI::Option* one : with_live)
            if (live->count() == 0 && one->count() > 0)
                throw Error(ErrorKind::invalid_request, one->get_name() + ": goes with --live");
        GainRequest request;
        request.allowance_db = within("--allowance", options->allowance, 0.0, kMostAllowance_db);
        request.driver_db = within("--driver", options->driver, 0.1, kMostDriver_db).value_or(request.driver_db);
        bool broke_off = false;
        if (options->live) {
            const LiveOutcome outcome = capture_live(*options);
            broke_off = outcome.capture.failure.has_value();
            if (broke_off) context.exit_code = 3;
            if (!outcome.stored) return print_result(fmt::format("{}\n", fmt::join(wrap_text(told_of(outcome), 80), "\n")));
        }
        const OpenedJob opened = open_job(options->job);
        const GainAnalysis analysis = analyse_gain(opened, request);
        print_result(options->json ? gain_document(opened, analysis, HUSHTRACE_VERSION)
                                   : gain_text(opened, analysis));
        if (fails_limit(opened.job, analysis)) context.exit_code = 1;
        if (broke_off) context.exit_code = 3;
    });
}

}  // namespace hushtrace::cli
