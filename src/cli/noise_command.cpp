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
        bool json = false;
        HearOption hear;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command =
        app.add_subcommand("noise", "finds the noise in a job's takes, and what to do about it");
    command->add_option("--job", options->job, "the job's folder")->required();
    command->add_flag("--json", options->json, "print one JSON document");
    add_hear_option(*command, options->hear);
    command->callback([options] {
        const OpenedJob opened = open_job(options->job);
        options->hear.check();
        NoiseAnalysis analysis = analyse_noise(opened);
        const std::string told = options->hear.write(opened, analysis);
        print_result(options->json ? noise_document(opened, analysis, HUSHTRACE_VERSION)
                                   : noise_text(opened, analysis) + (told.empty() ? "" : "\n" + told));
    });
}

}  // namespace hushtrace::cli
