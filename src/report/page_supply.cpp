#include <fmt/format.h>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"
#include "supply_words.hpp"

namespace hushtrace::page {
namespace {

std::string draws_table(const PowerAnalysis& analysis) {
    if (analysis.draws.empty()) return "";
    std::string rows;
    for (const PowerDraw& one : analysis.draws)
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}</tr>\n", isolated(shortened(one.name, 80)),
                            cell(fmt::format("{:.0f} A", one.current_a), "draws"),
                            cell(one.note.empty() ? "as stated" : one.note, "how known"));
    if (analysis.total_a)
        rows += fmt::format("<tr><th scope=\"row\">all together</th>{}{}</tr>\n", cell(fmt::format("{:.0f} A", *analysis.total_a), "draws"),
                            cell("sum", "how known"));
    return table({"amplifier", "draws", "how known"}, rows, "What they draw at most");
}

std::string cables_table(const PowerAnalysis& analysis) {
    if (analysis.cables.empty()) return "";
    std::string rows, notes;
    for (const PowerCable& one : analysis.cables) {
        const std::string cable =
            one.area_mm2 ? supply_size_text(*one.area_mm2) + (one.length_m ? fmt::format(", {:g} m", *one.length_m) : "") : "not stated";
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}{}{}{}</tr>\n", isolated(shortened(one.part, 80)),
                            cell(fmt::format("{:.0f} A", one.current_a), "current"), cell(cable, "cable"),
                            cell(one.fuse_a       ? fmt::format("{:g} A", *one.fuse_a)
                                 : one.needs_fuse ? "none can be named"
                                                  : "none of its own",
                                 "fuse"),
                            cell(one.drop_v ? fmt::format("{:.2f} V", *one.drop_v) : "not known", "lost on it"),
                            cell(supply_verdict_text(one, analysis.allowed_drop_v), "verdict"),
                            cell(one.smallest ? one.smallest->name() : "-", "smallest that does"));
        for (const std::string& note : one.notes)
            notes += fmt::format("<li>{}: {}</li>\n", isolated(shortened(one.part, 80)), isolated(shortened(note, kCellColumns)));
    }
    return table({"part", "current", "cable", "fuse", "lost on it", "verdict", "smallest that does"}, rows, "Cables and fuses") +
           (notes.empty() ? "" : "<ul class=\"notes\">\n" + notes + "</ul>\n");
}

std::string reserve_text(const AlternatorReserve& one) {
    const auto say = [](double reserve_a) {
        return reserve_a >= 0 ? fmt::format("{:.0f} A left", reserve_a) : fmt::format("{:.0f} A short, so the battery drains", -reserve_a);
    };
    return fmt::format(
        "<p><b>Alternator:</b> rated {:.0f} A; the vehicle takes about {:.0f} A, music about {:.0f} A on average. Driving: {}; idling: {}.</p>\n",
        one.rated_a, one.vehicle_a, one.music_a, say(one.reserve_a), say(one.idle_reserve_a));
}

std::string ripple_html(const PowerAnalysis& analysis) {
    std::string items;
    for (const std::string& one : supply_ripple_sentences(analysis)) items += "<li>" + isolated(one) + "</li>\n";
    return items.empty() ? items : "<h3>Ripple at the amplifier</h3>\n<ul class=\"notes\">\n" + items + "</ul>\n";
}

std::string list_under(const char* heading, const std::vector<std::string>& items) {
    if (items.empty()) return "";
    std::string out = fmt::format("<h3>{}</h3>\n<ul class=\"notes\">\n", heading);
    for (const std::string& one : items) out += "<li>" + isolated(one) + "</li>\n";
    return out + "</ul>\n";
}

}  // namespace

std::string supply(const PowerAnalysis& analysis) {
    std::string out = fmt::format("<section>\n<h2>Power supply</h2>\n<p class=\"lead\">{}</p>\n", isolated(analysis.fuse_text));
    out += draws_table(analysis) + cables_table(analysis);
    if (analysis.drop_v)
        out += fmt::format("<p>Lost along the feed at full draw: {:.2f} V; allowed are {:g} V{}. The return is apart.</p>\n", *analysis.drop_v,
                           analysis.allowed_drop_v, analysis.allowed_drop_assumed ? " (assumed)" : "");
    if (analysis.reserve) out += reserve_text(*analysis.reserve);
    out += ripple_html(analysis) + list_under("Assumed", analysis.assumptions) + list_under("Before work on the supply", analysis.cautions);
    return out + "</section>\n";
}

}  // namespace hushtrace::page
