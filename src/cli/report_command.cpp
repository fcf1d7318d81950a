#include <fmt/format.h>
#include <unistd.h>

#include <filesystem>
#include <memory>
#include <string>

#include "command.hpp"
#include "compare_records.hpp"
#include "hear_option.hpp"
#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/diagnose/loudness.hpp"
#include "hushtrace/diagnose/noise_analysis.hpp"
#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/report/hear_page.hpp"
#include "hushtrace/report/kept.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/report/tables.hpp"
#include "hushtrace/signal/error.hpp"
#include "offers.hpp"
#include "print.hpp"
#include "report_index.hpp"

namespace hushtrace::cli {
namespace {

/// Whether an analysis failed for want of takes, so that the other one may still stand in the record.
bool is_about_takes(ErrorKind kind) {
    return kind == ErrorKind::invalid_input || kind == ErrorKind::file_unreadable ||
           kind == ErrorKind::too_short || kind == ErrorKind::empty_input || kind == ErrorKind::not_finite;
}

/// For a person who waits; a script that reads stderr finds messages alone there.
void show_progress(const char* what) {
    if (::isatty(STDERR_FILENO)) fmt::print(stderr, "{}\n", what);
}

}  // namespace

Analyses analyse(const OpenedJob& opened) {
    Analyses analyses;
    show_progress("looking for noise ...");
    try {
        analyses.noise = analyse_noise(opened);
    } catch (const Error& error) {
        if (!is_about_takes(error.kind())) throw;
        analyses.warnings.push_back(
            {"noise_not_analysed", std::string("noise: ") + error.what(), std::nullopt});
    }
    show_progress("looking for the source's ceiling ...");
    try {
        analyses.gain = analyse_gain(opened);
    } catch (const Error& error) {
        if (!is_about_takes(error.kind())) throw;
        analyses.warnings.push_back(
            {"gain_not_analysed", std::string("gain: ") + error.what(), std::nullopt});
    }
    if (has_chain_take(opened.job)) {  // few jobs have one, and its want is no fault of the record
        show_progress("looking at the path ...");
        try {
            analyses.chain = analyse_chain(opened, analyses.gain ? &*analyses.gain : nullptr);
        } catch (const Error& error) {
            if (!is_about_takes(error.kind())) throw;
            analyses.warnings.push_back({"chain_not_analysed", std::string("chain: ") + error.what(), std::nullopt});
        }
    }
    if (!opened.job.amplifiers.empty() || !opened.job.supply.branches.empty()) {
        try {
            analyses.power = analyse_power(opened);
        } catch (const Error& error) {
            if (!is_about_takes(error.kind()) && error.kind() != ErrorKind::invalid_request) throw;
            analyses.warnings.push_back({"power_not_analysed", std::string("power: ") + error.what(), std::nullopt});
        }
    }
    if (analyses.noise && analyses.gain) judge_loudness(opened.job, *analyses.noise, &*analyses.gain);
    if (analyses.noise) analyses.floor_record = floor_record(opened, *analyses.noise, analyses.gain ? &*analyses.gain : nullptr);
    if (!analyses.noise && !analyses.gain && !analyses.chain)
        throw Error(ErrorKind::invalid_input,
                    fmt::format("{}: nothing to report; {}; {}", opened.folder.string(),
                                analyses.warnings[0].text, analyses.warnings[1].text));
    return analyses;
}

namespace {

/// What was given on the command line, by its names without the dashes, a list's items with spaces between.
std::vector<std::pair<std::string, std::string>> options_given(const CLI::App& command) {
    std::vector<std::pair<std::string, std::string>> given;
    for (const CLI::Option* one : command.get_options())
        if (one->count() > 0) {
            const std::string name = one->get_name();
            given.emplace_back(name.substr(name.find_first_not_of('-')), fmt::format("{}", fmt::join(one->results(), " ")));
        }
    return given;
}

void require_folder(const std::filesystem::path& folder) {
    std::error_code fault;
    if (std::filesystem::exists(folder, fault) && !std::filesystem::is_directory(folder, fault))
        throw Error(ErrorKind::invalid_request, folder.string() + ": is there already and is no folder");
}

/// A comparison writes no record, so what belongs to one is no part of the request.
void require_no_others(const CLI::App& command) {
    for (const CLI::Option* one : command.get_options()) {
        const std::string name = one->get_name();
        if (one->count() > 0 && name != "--earlier" && name != "--job" && name != "--out" && name != "--json")
            throw Error(ErrorKind::invalid_request,
                        fmt::format("{} and --earlier are two requests: a comparison writes no record; ask for one at a time", name));
    }
}

}  // namespace

void add_report_command(CLI::App& app, Context& context) {
    struct Options {
        std::string job, out, earlier;
        bool json = false, pictures = false, tables = false, no_keep = false;
        std::vector<std::string> index;
        HearOption hear;
    };
    const auto options = std::make_shared<Options>();
    CLI::App* command =
        app.add_subcommand("report", "writes the record: a page with its pictures, and the data beside it");
    command->add_option("--job", options->job, "the job's folder")->type_name(folder_type);
    command->add_option("--out", options->out, "the page to write (default: records/report.html in the job's folder)")->type_name(file_type);
    command->add_flag("--pictures", options->pictures, "write each picture as an SVG file too, in a folder beside the page");
    command->add_flag("--tables", options->tables, "also every table and curve as CSV, in a folder beside the page: report-tables/");
    command->add_flag("--no-keep", options->no_keep, "leave out the copy of the data that stays, in records/kept/");
    command->add_option("--index", options->index,
                        "instead of a record: one line a job (JSON Lines) of these folders, each a job or a folder of jobs")
        ->type_name(folder_type);
    command->add_flag("--json", options->json, "print the data as one JSON document");
    add_hear_option(*command, options->hear);
    command->add_option("--earlier", options->earlier,
                        "compare with an earlier record of the same vehicle instead: another job's folder, this one (its state before the changes), "
                        "or a record's data file; writes records/comparison.html")
        ->type_name(folder_type);
    command->callback([options, command, &context] {
        if (!options->index.empty()) {
            const auto given = options_given(*command);
            if (given.size() > 1)
                throw Error(ErrorKind::invalid_request, "--index: stands alone; it writes no record, so leave out --" +
                                                            (given[0].first == "index" ? given[1].first : given[0].first));
            return print_index(options->index);
        }
        if (options->job.empty()) throw Error(ErrorKind::invalid_request, "--job is required: the job's folder; or --index FOLDER ...");
        if (!options->earlier.empty()) {
            require_no_others(*command);
            return compare_with_earlier(options->job, options->earlier, options->out, options->json);
        }
        const OpenedJob opened = open_job(options->job);
        const std::filesystem::path page = options->out.empty() ? opened.folder / "records" / "report.html"
                                                                : std::filesystem::path(options->out);
        record_place(page, options->pictures);  // a wrong name is said at once, not after the analysis
        if (options->tables) require_folder(tables_folder(page));
        options->hear.check();
        Analyses analyses = analyse(opened);
        std::string told;
        if (analyses.noise) {
            told = options->hear.write(opened, *analyses.noise);
            analyses.heard_folder = heard_below(*analyses.noise, std::filesystem::absolute(page).parent_path());
        }
        analyses.made = made_now(opened, HUSHTRACE_VERSION, options_given(*command));
        if (!options->no_keep) kept_place(opened);
        const FolderLock lock(opened.folder);  // another report of this job would write the same names
        const RecordFiles files = write_record(opened, analyses, HUSHTRACE_VERSION, page, options->pictures);
        const std::string document =
            report_document(opened, analyses, HUSHTRACE_VERSION, files.page.string(), files.data.string(), files.pictures);
        if (options->tables) write_tables(document, tables_folder(page));
        const std::string kept = options->no_keep ? "" : keep_results(opened, *analyses.made, document).string();
        if (options->json) {
            print_result(document);
        } else {
            std::string text = fmt::format("page: {}\ndata: {}\n", files.page.string(), files.data.string());
            if (options->pictures) text += fmt::format("pictures: {} in {}\n", files.pictures.size(), files.picture_folder.string());
            if (options->tables) text += fmt::format("tables: {}\n", tables_folder(page).string());
            if (!kept.empty()) text += fmt::format("kept: {}\n", kept);
            for (const Warning& one : analyses.warnings) text += "left out, " + one.text + "\n";
            print_result(text + told);
        }
        if (analyses.gain && fails_limit(opened.job, *analyses.gain)) context.exit_code = 1;
        if (analyses.floor_record && fails_limit(*analyses.floor_record)) context.exit_code = 1;
        if (analyses.chain && fails_limit(*analyses.chain)) context.exit_code = 1;
    });
}

}  // namespace hushtrace::cli
