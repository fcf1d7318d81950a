#include <memory>
#include <string>

#include "command.hpp"
#include "hear_option.hpp"
#include "hushtrace/diagnose/noise_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "print.hpp"

namespace hushtrace::cli {

void add_noise_command(CLI::App& app, Context&) {
    struct Options {
        std::string job;
        bool json = false, dummy_test = false;
        HearOption hear;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command =
        app.add_subcommand("noise", "finds the noise in a job's takes, and what to do about it");
    command->add_option("--job", options->job, "the job's folder")->required();
    command->add_flag("--json", options->json, "print one JSON document");
    command->add_flag("--dummy-test", options->dummy_test, "guide through the four steps of the dummy test");
    add_hear_option(*command, options->hear);
    command->callback([options] {
        const OpenedJob opened = open_job(options->job);
        options->hear.check();
        NoiseAnalysis analysis = analyse_noise(opened);
        const std::string told = options->hear.write(opened, analysis);
        if (analysis.dummy_test) analysis.dummy_test->asked = options->dummy_test;
        print_result(options->json ? noise_document(opened, analysis, HUSHTRACE_VERSION)
                                   : noise_text(opened, analysis) + (told.empty() ? "" : "\n" + told));
    });
}

}  // namespace hushtrace::cli
