#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/comparison.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostCurves = 12;  // pictures; the data hold all

std::string list_of(const std::vector<std::string>& texts) {
    std::string out = "<ul class=\"notes\">\n";
    for (const std::string& one : texts) out += "<li>" + escaped(one) + "</li>\n";
    return out + "</ul>\n";
}

std::string side(const char* name, const std::string& called, const std::optional<std::string>& date, const std::string& version) {
    return fmt::format("<dt>{}</dt><dd>{}{}, measured by version {}</dd>\n", name, date ? escaped(*date) + ", " : "", escaped(called),
                       escaped(version.empty() ? "unknown" : version));
}

std::string header(const Comparison& comparison, const std::string& title) {
    return fmt::format("<header>\n<p class=\"soft\">Before and now</p>\n<h1>{}</h1>\n<dl>\n{}{}</dl>\n</header>\n", escaped(title),
                       side("then", comparison.before_called, comparison.before_date, comparison.before_version),
                       side("now", comparison.after_called, comparison.after_date, comparison.after_version));
}

std::string in_short(const Comparison& comparison) {
    std::string out = "<section class=\"short\" aria-label=\"In short\">\n<ul>\n";
    for (std::size_t i = 0; i < comparison.in_short.size(); ++i)
        out += fmt::format("<li{}>{}</li>\n", i == 0 ? " class=\"lead\"" : "", escaped(comparison.in_short[i]));
    return out + "</ul>\n</section>\n";
}

std::string figure_words(const std::optional<ComparedFigure>& figure, const std::string& unit) {
    if (!figure) return "";
    const bool level = unit == "dBV" || unit == "dBFS" || unit == "dB";
    const std::string value = level         ? fmt::format("{:.1f} {}", figure->value, unit)
                              : unit == "V" ? volts_text(figure->value)
                              : unit == "%" ? distortion_text(figure->value)
                                            : figures_text(figure->value, 4) + (unit == "volume" ? "" : " " + unit);
    return (figure->at_most ? "at most " : "") + value;
}

/// "-16.1 dB", "≤ -20 dB" of a bound; a dash where nothing can be told.
std::string difference_words(const ComparedItem& item) {
    if (!item.difference || item.verdict == ChangeVerdict::not_comparable) return "–";
    const char* bound = !item.at_least ? "" : *item.difference < 0 ? "≤ " : "≥ ";
    const double value = *item.difference;
    if (item.difference_unit != "dB")
        return fmt::format("{}{:+.2g}{}", bound, value + 0.0, item.difference_unit == "volume" ? "" : " " + item.difference_unit);
    const double rounded = std::round(value * 10) / 10 + 0.0;  // no "-0.0"
    return fmt::format("{}{}{:.1f} dB", bound, rounded > 0 ? "+" : "", rounded);
}

std::string items_table(const Comparison& comparison, const char* title, const std::vector<std::string_view>& areas, const char* caption) {
    std::string rows;
    for (const ComparedItem& item : comparison.items) {
        if (std::find(areas.begin(), areas.end(), item.area) == areas.end()) continue;
        rows += fmt::format("<tr><th scope=\"row\">{}{}</th>", escaped(item.what),
                            item.where.empty() ? "" : "<br><span class=\"soft\">" + escaped(item.where) + "</span>");
        if (!item.before && !item.after) {
            rows += fmt::format("<td data-label=\"result\" colspan=\"4\">{}</td>", escaped(item.text));
        } else {
            rows += page::cell(figure_words(item.before, item.unit), "then") + page::cell(figure_words(item.after, item.unit), "now");
            rows += page::cell(difference_words(item), "difference");
            rows += page::cell(item.limit && item.area != "power" && item.verdict != ChangeVerdict::not_comparable
                                   ? fmt::format("{:.2g} {}", *item.limit, item.difference_unit)
                                   : "–",
                               "counts from");
        }
        const bool bad = item.verdict == ChangeVerdict::worse || item.verdict == ChangeVerdict::appeared;
        const bool good = item.verdict == ChangeVerdict::better || item.verdict == ChangeVerdict::gone;
        rows += fmt::format("<td data-label=\"verdict\"{}>{}</td></tr>\n",
                            bad    ? " class=\"level\""
                            : good ? " class=\"expect\""
                                   : "",
                            spaced(to_word(item.verdict)));
    }
    if (rows.empty()) return "";
    return fmt::format("<h2>{}</h2>\n{}", title, page::table({"what", "then", "now", "difference", "counts from", "verdict"}, rows, caption));
}

std::string pictures(const Comparison& comparison) {
    std::string out;
    if (has_noise_bars(comparison)) {
        const std::string title = "Levels of the noise sources, then and now";
        out += page::figure(noise_bars_svg(comparison, PictureSize::wide, "barsw", title),
                            noise_bars_svg(comparison, PictureSize::narrow, "barsn", title),
                            "<b>" + title +
                                "</b>. Each where it was loudest. Upper bar then, lower bar now; the strokes at their ends are ± two standard "
                                "uncertainties. A dashed frame is the most that it can have been where it wasn't found.");
    }
    std::vector<const ComparedCurve*> curves;  // what changed comes first
    for (const bool changed : {true, false})
        for (const ComparedCurve& one : comparison.curves) {
            const bool any = std::any_of(one.points.begin(), one.points.end(), [](const ComparedPoint& point) { return point.changed; });
            if (any == changed && one.points.size() >= 2) curves.push_back(&one);
        }
    for (std::size_t i = 0; i < std::min(kMostCurves, curves.size()); ++i)
        out += page::figure(curve_svg(*curves[i], PictureSize::wide, fmt::format("c{}w", i)),
                            curve_svg(*curves[i], PictureSize::narrow, fmt::format("c{}n", i)),
                            fmt::format("<b>{}</b>. {}", escaped(curves[i]->title), escaped(curves[i]->text)));
    if (curves.size() > kMostCurves) out += fmt::format("<p class=\"soft\">{} more curves stand in the data.</p>\n", curves.size() - kMostCurves);
    return out.empty() ? "" : "<h2>Pictures</h2>\n" + out;
}

std::string alike(const Comparison& comparison) {
    std::string out, rows;
    for (const TakePairing& pair : comparison.pairs) {
        const auto names = [](const std::vector<std::string>& files) {
            std::string text;
            for (const std::string& one : files) text += (text.empty() ? "" : ", ") + one;
            return text;
        };
        std::string remarks;
        for (const std::string& one : pair.remarks) remarks += (remarks.empty() ? "" : " ") + one;
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}</tr>\n", escaped(pair.conditions), page::cell(names(pair.before), "then"),
                            page::cell(names(pair.after), "now"), page::cell(remarks, "remarks"));
    }
    if (!rows.empty())
        out += "<h2>Takes made alike</h2>\n" + page::table({"conditions", "then", "now", "remarks"}, rows, "Several takes in one cell are repeats.");
    if (!comparison.left_out.empty()) {
        std::vector<std::string> texts;
        for (const TakeLeftOut& one : comparison.left_out) texts.push_back(one.text);
        out += "<h2>Takes left out</h2>\n" + list_of(texts);
    }
    if (!comparison.notes.empty()) out += "<h2>To keep in mind</h2>\n" + list_of(comparison.notes);
    return out;
}

}  // namespace

std::string comparison_page(const Comparison& comparison, std::string_view version) {
    const std::string title = comparison.title.empty() ? "Untitled job" : comparison.title;
    std::string out = fmt::format(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width, "
        "initial-scale=1\">\n<title>{}: before and now</title>\n<style>{}</style>\n</head>\n<body>\n{}<main>\n",
        escaped(title), page::style(), header(comparison, title));
    out += in_short(comparison) + pictures(comparison);
    out += items_table(comparison, "Noise", {"noise"}, "Each noise source where both records have takes made alike");
    out += items_table(comparison, "Noise floor", {"floor"}, "20 Hz to 20 kHz");
    out += items_table(comparison, "How far the volume may go", {"ceiling", "distortion", "balance"}, "From stepped takes");
    out += items_table(comparison, "The path", {"path"}, "From sweeps, noise and pulses");
    out += items_table(comparison, "Amplifiers, supply, health", {"amplifier", "supply", "health", "power"},
                       "Settings, meter readings, findings and reckoning");
    out += alike(comparison);
    return out +
           fmt::format(
               "</main>\n<footer>\n<p>Made by Hushtrace {}. A difference counts from where chance, the calibrations and what strays from one run to "
               "the next no longer explain it (about 95 %); &quot;≤&quot; and &quot;≥&quot; are said of bounds. dBV is rms volts re 1 V; a "
               "full-scale "
               "sine reads 0 dBFS (AES17).</p>\n</footer>\n</body>\n</html>\n",
               escaped(version));
}

}  // namespace hushtrace
