#include <fmt/format.h>

#include "hushtrace/report/first_sheet.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

std::string list_of(const std::vector<std::string>& items, const char* style = "") {
    std::string out = fmt::format("<ul{}>\n", style);
    for (const std::string& one : items) out += fmt::format("<li>{}</li>\n", isolated(one));
    return out + "</ul>\n";
}

std::string figures_table(const FirstSheet& sheet) {
    std::string rows;
    for (const BeforeAfterFigure& one : sheet.figures)
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}</tr>\n", escaped(one.noise), cell(one.before, "before"), cell(one.after, "after"),
                            cell(one.change, "change"), cell(one.to_the_ear, "to the ear"));
    return table({"noise", "before", "after", "change", "to the ear"}, rows) +
           "<p class=\"soft\">Of 100 such figures about 95 are right within what is given or taken. Where nothing is claimed, the measurement "
           "can't tell.</p>\n";
}

}  // namespace

std::string first_sheet(const OpenedJob& opened, const Analyses& analyses) {
    const FirstSheet sheet = hushtrace::first_sheet(opened, analyses);
    std::string out = "<section class=\"sheet\">\n<h2>For the customer</h2>\n<h3>What was heard</h3>\n";
    if (sheet.said.empty())
        out += "<p>No complaint is written down in this job.</p>\n";
    else
        out += fmt::format("<blockquote dir=\"auto\">{}</blockquote>\n{}", escaped(sheet.said),
                           sheet.said_in_part ? "<p class=\"soft\">The whole text stands at the end of this record.</p>\n" : "");
    out += "<h3>What was found</h3>\n" + list_of(sheet.found);
    if (!sheet.failed.empty()) out += "<div class=\"fail\">\n<p>Not as agreed:</p>\n" + list_of(sheet.failed) + "</div>\n";
    out += "<h3>What was done</h3>\n" + (sheet.done.empty() ? fmt::format("<p>{}</p>\n", escaped(sheet.not_done)) : list_of(sheet.done));
    out += "<h3>Before and after</h3>\n" + (sheet.figures.empty() ? fmt::format("<p>{}</p>\n", escaped(sheet.no_figures)) : figures_table(sheet));
    out += "<h3>What remains</h3>\n" + list_of(sheet.remains);
    if (!sheet.temporary.empty())
        out += "<h3>Before it is handed over, check off</h3>\n" + list_of(sheet.temporary, " class=\"check\"");
    return out + "</section>\n";
}

std::string in_full(const Job& job) {
    std::string items;
    const auto add = [&](const char* name, const std::string& text, std::size_t columns) {
        if (shortened(clean_text(text), columns) != clean_text(text))
            items += fmt::format("<h3>{}</h3>\n<p dir=\"auto\">{}</p>\n", name, escaped(text));
    };
    add("Title", job.title, kTitleColumns);
    add("Complaint", job.complaint.value_or(""), kComplaintColumns);
    add("Vehicle", job.vehicle.description, kFactColumns);
    add("Source", job.source.description, kFactColumns);
    return items.empty() ? items : "<section>\n<h2>Cut short above, here in full</h2>\n" + items + "</section>\n";
}

}  // namespace hushtrace::page
