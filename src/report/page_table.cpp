#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/report/markup.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {

namespace {

/// Whether it holds a word that a column can't be asked to hold whole.
bool has_long_word(std::string_view text) {
    constexpr std::size_t longest = 24;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t stop = std::min(text.find(' ', at), text.size());
        if (stop - at > longest) return true;
        at = stop + 1;
    }
    return false;
}

}  // namespace

std::string cell(std::string_view text, std::string_view label) {
    return fmt::format("<td{} data-label=\"{}\">{}</td>", has_long_word(text) ? " class=\"long\"" : "", escaped(label),
                       isolated(shortened(text, kCellColumns)));
}

std::string table(const std::vector<std::string_view>& headings, const std::string& rows,
                  std::string_view caption) {
    // a short one isn't broken on paper
    std::size_t count = 0;
    for (std::size_t at = rows.find("<tr"); at != std::string::npos; at = rows.find("<tr", at + 1)) ++count;
    std::string out = fmt::format("<div class=\"scroll{}\"><table>\n", count <= 8 ? " whole" : "");
    if (!caption.empty()) {
        out += fmt::format("<caption dir=\"auto\">{}</caption>\n", escaped(caption));
    } else {  // what stands above says it to the eye
        std::string names;
        for (const std::string_view one : headings) names += (names.empty() ? "" : ", ") + escaped(one);
        out += fmt::format("<caption class=\"unseen\">{}</caption>\n", names);
    }
    out += "<thead><tr>";
    for (const std::string_view one : headings) out += fmt::format("<th scope=\"col\">{}</th>", escaped(one));
    return out + "</tr></thead>\n<tbody>\n" + rows + "</tbody></table></div>\n";
}

std::string figure(const std::string& wide_svg, const std::string& narrow_svg,
                   const std::string& caption_html) {
    return fmt::format(
        "<figure>\n<figcaption>{}</figcaption>\n<div class=\"wide\">{}</div>\n<div "
        "class=\"narrow\">{}</div>\n</figure>\n",
        caption_html, wide_svg, narrow_svg);
}

std::string told_figure(const std::string& wide, const std::string& narrow, const std::string& caption, const std::vector<std::string>& words,
                        const char* list) {
    std::string out = figure(wide, narrow, caption);
    if (words.empty()) return out;
    out += fmt::format("<details>\n<summary>The same in words</summary>\n<{}>\n", list);
    for (const std::string& one : words) out += fmt::format("<li>{}</li>\n", isolated(one));
    return out + fmt::format("</{}>\n</details>\n", list);
}

}  // namespace hushtrace::page
