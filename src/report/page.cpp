#include "hushtrace/report/page.hpp"

#include <fmt/format.h>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace {
namespace {

std::string header(const Job& job, const std::string& title) {
    std::string facts;
    const auto add = [&](const std::string& text) {
        if (!text.empty()) facts += (facts.empty() ? "" : " · ") + isolated(shortened(text, page::kFactColumns));
    };
    add(job.date.value_or(""));
    add(job.vehicle.description);
    add(job.source.description);
    std::string out = fmt::format("<header>\n<p class=\"soft\">Record of measurement</p>\n<h1 dir=\"auto\">{}</h1>\n", escaped(title));
    if (!facts.empty()) out += fmt::format("<p>{}</p>\n", facts);
    return out + "</header>\n";
}

/// Gives each section that has a heading and no id one, and lists them.
///   parts   the page's sections, one after the other
std::string with_contents(const std::string& parts) {
    const std::string mark = "<section>\n<h2>";
    std::string out, items;
    std::size_t from = 0, number = 0;
    for (std::size_t at = parts.find(mark); at != std::string::npos; at = parts.find(mark, from)) {
        const std::size_t text = at + mark.size(), stop = parts.find("</h2>", text);
        out += parts.substr(from, at - from) + fmt::format("<section id=\"s{}\">\n<h2>", ++number);
        items += fmt::format("<li><a href=\"#s{}\">{}</a></li>\n", number, parts.substr(text, stop - text));
        from = text;
    }
    out += parts.substr(from);
    return (items.empty() ? "" : "<nav aria-label=\"Contents\">\n<ul>\n" + items + "</ul>\n</nav>\n") + out;
}

}  // namespace

std::string record_page(const OpenedJob& opened, const Analyses& analyses, std::string_view version) {
    const std::string title = shortened(clean_text(opened.job.title.empty() ? "Untitled job" : opened.job.title), page::kTitleColumns);
    std::string out = fmt::format(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
        "<meta name=\"viewport\" content=\"width=device-width, "
        "initial-scale=1\">\n<title>{}</title>\n<style>{}</style>\n"
        "</head>\n<body>\n<a class=\"skip\" href=\"#technician\">Skip to the technician's part</a>\n{}<main>\n",
        escaped(title), page::style(), header(opened.job, title));
    out += page::first_sheet(opened, analyses);
    out += "<h2 id=\"technician\">For the technician</h2>\n" + page::in_short(analyses);
    std::string parts;
    if (analyses.noise) {
        parts += page::findings(*analyses.noise) + page::changes(*analyses.noise) + page::next_test(*analyses.noise);
        parts += page::supply_probe(*analyses.noise) + page::actions(*analyses.noise) + page::cures(*analyses.noise);
        parts += page::health(*analyses.noise) + page::entry_pictures(opened, *analyses.noise);
        parts += page::hear(*analyses.noise, analyses.heard_folder);
    }
    if (analyses.gain) parts += page::gain(opened, *analyses.gain) + page::level_diagrams(opened, *analyses.gain);
    if (analyses.chain) parts += page::chain(*analyses.chain);
    if (analyses.floor_record) parts += page::floor_record(*analyses.floor_record);
    if (analyses.noise) {
        parts += page::noise_pictures(opened, *analyses.noise) + page::further_findings(*analyses.noise);
        parts += page::noise_floor(*analyses.noise);
    }
    if (analyses.power) parts += page::supply(*analyses.power);
    parts += page::conditions(opened.job) + page::instruments(opened) + page::method(analyses);
    parts += page::temporary_items(opened.job) + page::warnings(opened, analyses) + page::cautions(opened.job) + page::in_full(opened.job);
    out += with_contents(parts);
    return out + fmt::format(
                     "</main>\n<footer>\n<p>Made by Hushtrace {}. Levels: a full-scale sine reads 0 dBFS "
                     "(AES17); dBV is "
                     "rms volts re 1 V; ± is two standard uncertainties (95 %), in brackets "
                     "or where a column says so one.</p>\n</footer>\n</body>\n</html>\n",
                     escaped(version));
}

}  // namespace hushtrace
