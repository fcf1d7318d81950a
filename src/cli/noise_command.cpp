#include <memory>
#include <string>

#include "command.hpp"
#include "hushtrace/diagnose/noise_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "print.hpp"

namespace hushtrace::cli {

void add_noise_command(CLI::App& app, Context&) {
    struct Options {
        std::string job;
        bool json = false;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command =
        app.add_subcommand("noise", "finds the noise in a job's takes, and what to do about it");
    command->add_option("--job", options->job, "the job's folder")->required();
    command->add_flag("--json", options->json, "print one JSON document");
    command->callback([options] {
        const OpenedJob opened = open_job(options->job);
        const NoiseAnalysis analysis = analyse_noise(opened);
        print_result(options->json ? noise_document(opened, analysis, HUSHTRACE_VERSION)
                                   : noise_text(opened, analysis));
    });
}

}  // namespace hushtrace::cli
