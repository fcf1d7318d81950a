#include "hear_option.hpp"

#include <cmath>

#include "hushtrace/diagnose/hear.hpp"
#include "hushtrace/report/hear_page.hpp"
#include "hushtrace/signal/error.hpp"
#include "offers.hpp"

namespace hushtrace::cli {

void HearOption::check() const {
    if (gain_db && (!std::isfinite(*gain_db) || std::abs(*gain_db) > 100.0))
        throw Error(ErrorKind::invalid_request, "--hear-gain: a number of decibels from -100 to 100 is wanted");
    if (gain_db && folder.empty())
        throw Error(ErrorKind::invalid_request, "--hear-gain: needs --hear FOLDER");
    if (!folder.empty()) check_hear_folder(folder);
}

std::string HearOption::write(const OpenedJob& opened, NoiseAnalysis& analysis) const {
    if (folder.empty()) return "";
    write_heard(opened, folder, {gain_db}, analysis);
    write_hear_page(opened, analysis);
    return hear_text(analysis);
}

void add_hear_option(CLI::App& command, HearOption& option) {
    command.add_option("--hear", option.folder,
                       "a new folder for sound files: each noise source alone, its take without it, a playlist and a page")
        ->type_name(folder_type);
    command.add_option("--hear-gain", option.gain_db,
                       "one gain in dB for all of them (default: each as loud as -6 dBFS peaks allow)");
}

}  // namespace hushtrace::cli
