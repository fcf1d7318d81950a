#include "hushtrace/report/page.hpp"

#include <fmt/format.h>

#include "hushtrace/report/markup.hpp"
#include "page_parts.hpp"

namespace hushtrace {
namespace {

std::string header(const Job& job, const std::string& title) {
    std::string facts;
    const auto add = [&](const std::string& text) {
        if (!text.empty()) facts += (facts.empty() ? "" : " · ") + escaped(text);
    };
    add(job.date.value_or(""));
    add(job.vehicle.description);
    add(job.source.description);
    std::string out =
        fmt::format("<header>\n<p class=\"soft\">Record of measurement</p>\n<h1>{}</h1>\n", escaped(title));
    if (!facts.empty()) out += fmt::format("<p>{}</p>\n", facts);
    if (job.complaint && !job.complaint->empty())
        out += fmt::format("<blockquote>{}</blockquote>\n", escaped(*job.complaint));
    return out + "</header>\n";
}

}  // namespace

std::string record_page(const OpenedJob& opened, const Analyses& analyses, std::string_view version) {
    const std::string title = opened.job.title.empty() ? "Untitled job" : opened.job.title;
    std::string out = fmt::format(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
        "<meta name=\"viewport\" content=\"width=device-width, "
        "initial-scale=1\">\n<title>{}</title>\n<style>{}</style>\n"
        "</head>\n<body>\n{}<main>\n",
        escaped(title), page::style(), header(opened.job, title));
    out += page::in_short(analyses);
    if (analyses.noise) {
        out += page::findings(*analyses.noise) + page::changes(*analyses.noise) + page::next_test(*analyses.noise);
        out += page::supply_probe(*analyses.noise) + page::actions(*analyses.noise) + page::cures(*analyses.noise);
        out += page::health(*analyses.noise) + page::entry_pictures(opened, *analyses.noise);
        out += page::hear(*analyses.noise, analyses.heard_folder);
    }
    if (analyses.gain) out += page::gain(opened, *analyses.gain);
    if (analyses.chain) out += page::chain(*analyses.chain);
    if (analyses.noise) {
        out += page::noise_pictures(opened, *analyses.noise) + page::further_findings(*analyses.noise);
        out += page::noise_floor(*analyses.noise);
    }
    out += page::conditions(opened.job) + page::warnings(opened, analyses) + page::cautions(opened.job);
    return out + fmt::format(
                     "</main>\n<footer>\n<p>Made by Hushtrace {}. Levels: a full-scale sine reads 0 dBFS "
                     "(AES17); dBV is "
                     "rms volts re 1 V; ± is two standard uncertainties (95 %), in brackets "
                     "or where a column says so one.</p>\n</footer>\n</body>\n</html>\n",
                     escaped(version));
}

}  // namespace hushtrace
