#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/report/level_picture.hpp"
#include "hushtrace/report/markup.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {

std::string level_diagrams(const OpenedJob& opened, const GainAnalysis& analysis) {
    constexpr std::size_t most = 6;
    const std::vector<LevelDiagram> diagrams = hushtrace::level_diagrams(opened.job, analysis);
    std::string out;
    std::size_t number = 0, left = 0;
    for (const LevelDiagram& one : diagrams) {
        if (!has_levels(one)) continue;
        if (number == most) {
            ++left;
            continue;
        }
        const std::string title = "Levels from source to ear: " + shortened(one.amplifier.empty() ? "amplifier" : one.amplifier, 60);
        const std::string id = fmt::format("lv{}", ++number);
        std::string caption = fmt::format(
            "<b>{}.</b> Solid edge: the highest clean level with the source at its ceiling; dashed edge: the noise; shaded: the room between. "
            "Dotted: "
            "what the stage could bear; headroom is what lies between.",
            isolated(title));
        if (!one.floors_from.empty()) caption += " " + isolated(one.floors_from) + ".";
        out += told_figure(level_svg(one, PictureSize::wide, id + "w", title), level_svg(one, PictureSize::narrow, id + "n", title), caption,
                           level_words(one), "ul");
    }
    if (out.empty()) return out;
    if (left > 0) out += fmt::format("<p>{} more amplifiers are not drawn.</p>\n", left);
    return "<section>\n<h2>Levels from source to ear</h2>\n" + out + "</section>\n";
}

}  // namespace hushtrace::page
