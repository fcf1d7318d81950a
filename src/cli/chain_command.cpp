#include <memory>
#include <string>

#include "command.hpp"
#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "offers.hpp"
#include "print.hpp"

namespace hushtrace::cli {

void add_chain_command(CLI::App& app, Context& context) {
    struct Options {
        std::string job;
        bool json = false;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command = app.add_subcommand(
        "chain", "tells what the path does to sound: response, distortion, delay, polarity, crosstalk");
    command->add_option("--job", options->job, "the job's folder")->required()->type_name(folder_type);
    command->add_flag("--json", options->json, "print one JSON document");
    command->callback([options, &context] {
        const OpenedJob opened = open_job(options->job);
        const ChainAnalysis analysis = analyse_chain(opened);
        print_result(options->json ? chain_document(opened, analysis, HUSHTRACE_VERSION)
                                   : chain_text(opened, analysis));
        if (fails_limit(analysis)) context.exit_code = 1;
    });
}

}  // namespace hushtrace::cli
