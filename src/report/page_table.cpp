#include <fmt/format.h>

#include "hushtrace/report/markup.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {

std::string cell(std::string_view text, std::string_view label) {
    return fmt::format("<td data-label=\"{}\">{}</td>", escaped(label), escaped(text));
}

std::string table(const std::vector<std::string_view>& headings, const std::string& rows,
                  std::string_view caption) {
    std::string out = "<div class=\"scroll\"><table>\n";
    if (!caption.empty()) out += fmt::format("<caption>{}</caption>\n", escaped(caption));
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

}  // namespace hushtrace::page
