#include <memory>
#include <string>

#include "command.hpp"
#include "hear_option.hpp"
#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/diagnose/noise_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/signal/error.hpp"
#include "offers.hpp"
#include "print.hpp"

namespace hushtrace::cli {

namespace {

/// The source's ceiling, where stepped takes tell it: the record is told without it where they don't.
std::optional<GainAnalysis> ceiling_of(const OpenedJob& opened) {
    try {
        return analyse_gain(opened);
    } catch (const Error& error) {
        if (error.kind() == ErrorKind::device_failed || error.kind() == ErrorKind::disk_failed) throw;
        return std::nullopt;
    }
}

}  // namespace

void add_noise_command(CLI::App& app, Context& context) {
    struct Options {
        std::string job;
        bool json = false, dummy_test = false, floor = false;
        HearOption hear;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command =
        app.add_subcommand("noise", "finds the noise in a job's takes, and what to do about it");
    command->add_option("--job", options->job, "the job's folder")->required()->type_name(folder_type);
    command->add_flag("--json", options->json, "print one JSON document");
    command->add_flag("--dummy-test", options->dummy_test, "guide through the four steps of the dummy test");
    command->add_flag("--floor", options->floor, "print the noise-floor record: each condition's floor, against the source's ceiling and the limits");
    add_hear_option(*command, options->hear);
    command->callback([options, &context] {
        const OpenedJob opened = open_job(options->job);
        options->hear.check();
        NoiseAnalysis analysis = analyse_noise(opened);
        const std::string told = options->hear.write(opened, analysis);
        if (analysis.dummy_test) analysis.dummy_test->asked = options->dummy_test;
        std::optional<FloorRecord> record;
        if (options->floor || options->json) {
            const auto gain = ceiling_of(opened);
            record = floor_record(opened, analysis, gain ? &*gain : nullptr);
        }
        if (options->json)
            print_result(noise_document(opened, analysis, HUSHTRACE_VERSION, &*record));
        else
            print_result((options->floor ? floor_record_text(opened, *record) : noise_text(opened, analysis)) + (told.empty() ? "" : "\n" + told));
        if (options->floor && fails_limit(*record)) context.exit_code = 1;
    });
}

}  // namespace hushtrace::cli
