#include "record_pictures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>

#include "page_parts.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kNameColumns = 60;

bool is_plain(char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); }

/// What stands between two marks, from `from` on; empty where either is missing.
std::string_view between(std::string_view text, std::string_view open, std::string_view close, std::size_t from = 0) {
    const std::size_t at = text.find(open, from);
    if (at == std::string_view::npos) return {};
    const std::size_t begin = at + open.size(), stop = text.find(close, begin);
    return stop == std::string_view::npos ? std::string_view{} : text.substr(begin, stop - begin);
}

/// Title and description are escaped in the page.
std::string unescaped(std::string_view text) {
    constexpr std::pair<std::string_view, char> entities[] = {{"&lt;", '<'}, {"&gt;", '>'}, {"&quot;", '"'}, {"&#39;", '\''}, {"&amp;", '&'}};
    std::string out;
    for (std::size_t at = 0; at < text.size();) {
        const auto* found =
            std::find_if(std::begin(entities), std::end(entities), [&](const auto& one) { return text.substr(at).starts_with(one.first); });
        const bool is_entity = found != std::end(entities);
        out += is_entity ? found->second : text[at];
        at += is_entity ? found->first.size() : 1;
    }
    return out;
}

/// The pixels that a picture uses by "#ID": the element with that id.
std::string shared_pixels(std::string_view page, std::string_view svg) {
    const std::string_view id = between(svg, "<use href=\"#", "\"");
    if (id.empty()) return "";
    const std::string open = fmt::format("<image id=\"{}\"", id);
    const std::string_view rest = between(page, open, "/>");
    return rest.empty() ? "" : fmt::format("<defs>{}{}/></defs>\n", open, rest);
}

void replace_all(std::string& text, std::string_view from, std::string_view to) {
    for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size())) text.replace(at, from.size(), to);
}

/// The page's rules for pictures with the colours of light paper written out: programs that draw SVG seldom know CSS variables.
std::string picture_style() {
    std::string rules(page::picture_style());
    std::string_view palette = page::light_palette();
    for (std::size_t at = palette.find("--"); at != std::string_view::npos; at = palette.find("--", at + 2)) {
        const std::string_view name = palette.substr(at, palette.find(':', at) - at);
        const std::string_view value = between(palette, ": ", ";", at);
        replace_all(rules, fmt::format("var({})", name), value);
    }
    return rules;
}

std::string whole_file(std::string_view page, std::string_view svg) {
    const std::string_view box = between(svg, "viewBox=\"0 0 ", "\"");
    const std::size_t gap = box.find(' ');
    std::string out(svg);
    replace_all(out, " href=\"", " xlink:href=\"");  // older programs know no other
    const std::size_t inside = out.find('>') + 1;
    std::string pixels = shared_pixels(page, svg);
    replace_all(pixels, " href=\"", " xlink:href=\"");
    // title and description stay the first children
    const std::size_t after = out.find("</desc>") + std::string_view("</desc>").size();
    const std::string background = fmt::format("<style>{}</style>\n{}<rect class=\"back\" width=\"{}\" height=\"{}\"/>\n", picture_style(), pixels,
                                               box.substr(0, gap), box.substr(gap + 1));
    return fmt::format(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" "
        "width=\"{}\" height=\"{}\"{}{}{}{}",
        box.substr(0, gap), box.substr(gap + 1), out.substr(4, inside - 4), out.substr(inside, after - inside), background, out.substr(after));
}

}  // namespace

std::string picture_name(std::size_t number, const std::string& title) {
    std::string name;
    for (const char c : title) {
        const char low = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
        if (is_plain(low))
            name += low;
        else if (!name.empty() && name.back() != '-')
            name += '-';
        if (name.size() >= kNameColumns) break;
    }
    while (!name.empty() && name.back() == '-') name.pop_back();
    return fmt::format("{:02d}-{}.svg", number, name.empty() ? "picture" : name);
}

bool is_picture_name(const std::string& name) {
    const std::size_t digits = name.find_first_not_of("0123456789");
    if (digits == std::string::npos || digits < 2 || name[digits] != '-' || !name.ends_with(".svg")) return false;
    const std::string_view middle = std::string_view(name).substr(digits + 1, name.size() - digits - 5);
    return !middle.empty() && std::all_of(middle.begin(), middle.end(), [](char c) { return is_plain(c) || c == '-'; });
}

std::vector<DrawnPicture> pictures_of(std::string_view page) {
    std::vector<DrawnPicture> out;
    const std::string_view open = "<div class=\"wide\">", close = "</svg>";
    for (std::size_t at = page.find(open); at != std::string_view::npos; at = page.find(open, at + 1)) {
        const std::size_t begin = at + open.size(), stop = page.find(close, begin);
        if (!page.substr(begin).starts_with("<svg ") || stop == std::string_view::npos) continue;
        const std::string_view svg = page.substr(begin, stop + close.size() - begin);
        const std::string_view title = between(svg, "-t\">", "</title>"), description = between(svg, "-d\">", "</desc>");
        DrawnPicture one;
        one.listed.title = unescaped(title);
        one.listed.description = unescaped(description);
        one.listed.file = picture_name(out.size() + 1, one.listed.title);
        one.svg = whole_file(page, svg);
        out.push_back(std::move(one));
    }
    return out;
}

}  // namespace hushtrace
