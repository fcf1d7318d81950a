#include <memory>
#include <string>

#include "command.hpp"
#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "print.hpp"

namespace hushtrace::cli {

void add_gain_command(CLI::App& app, Context& context) {
    struct Options {
        std::string job;
        bool json = false;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command = app.add_subcommand(
        "gain", "finds how loud the source may go, and where each amplifier's gain must stand");
    command->add_option("--job", options->job, "the job's folder")->required();
    command->add_flag("--json", options->json, "print one JSON document");
    command->callback([options, &context] {
        const OpenedJob opened = open_job(options->job);
        const GainAnalysis analysis = analyse_gain(opened);
        print_result(options->json ? gain_document(opened, analysis, HUSHTRACE_VERSION)
                                   : gain_text(opened, analysis));
        if (fails_limit(opened.job, analysis)) context.exit_code = 1;
    });
}

}  // namespace hushtrace::cli
