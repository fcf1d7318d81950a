#include <memory>
#include <string>

#include "command.hpp"
#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "job_facts.hpp"
#include "offers.hpp"
#include "print.hpp"

namespace hushtrace::cli {

void add_power_command(CLI::App& app, Context&) {
    struct Options {
        std::string job;
        JobFacts facts;
        bool json = false;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command = app.add_subcommand("power", "sizes fuses and supply cables, and tells the alternator's reserve and the ripple");
    command->add_option("--job", options->job, "the job's folder; without one the options below describe the supply")->type_name(folder_type);
    command->add_flag("--json", options->json, "print one JSON document");
    command
        ->add_option("--amplifier", options->facts.amplifiers,
                     "NAME,max_current_a=50 (what its own fuses add up to) or NAME,power_w=500; may be given again")
        ->allow_extra_args(false);
    options->facts.add_supply_to(*command);
    command->callback([options] {
        OpenedJob opened;
        if (!options->job.empty()) opened = open_job(options->job);
        if (options->facts.any()) opened.job = options->facts.described(opened.job, opened.warnings);
        const PowerAnalysis analysis = analyse_power(opened);
        print_result(options->json ? power_document(opened, analysis, HUSHTRACE_VERSION) : power_text(opened, analysis));
    });
}

}  // namespace hushtrace::cli
