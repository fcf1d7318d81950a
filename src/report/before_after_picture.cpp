#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/entry_picture.hpp"
#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

svg::Frame frame_of(bool wide, std::size_t rows) {
    const double lanes = static_cast<double>(rows) * (wide ? 18.0 : 17.0);
    return wide ? svg::Frame{900, 352 + lanes, 62, 882, 10 + lanes, 306 + lanes, 13}
                : svg::Frame{372, 296 + lanes, 50, 356, 8 + lanes, 252 + lanes, 12};
}

/// "≤ -25 dB" of a line that isn't found any more.
std::string words_of(const LineChange& line, bool in_full) {
    const std::string change = fmt::format("{}{:+.0f} dB", line.at_least ? "≤ " : "", line.change_db());
    return in_full ? fmt::format("{}: {}", frequency_text(line.before_hz), change) : change;
}

/// Words above the picture: in full where all lines find room so, else the change alone, in stairs; the strongest come first.
struct Labels {
    std::vector<LabelRequest> requests;
    std::vector<LabelPlace> places;
    bool in_full = true;
};
Labels label(const std::vector<LineChange>& lines, const Scale& x, bool wide, double font_px) {
    const std::size_t rows = wide ? 5 : 6;
    Labels best;
    for (const bool in_full : {true, false})
        for (const auto place : {place_labels, stair_labels}) {
            if (in_full && !wide) continue;
            Labels one;
            one.in_full = in_full;
            for (const LineChange& line : lines)
                one.requests.push_back({x.at(line.before_hz), text_width_px(display_width(words_of(line, in_full)), font_px) + 5});
            one.places = place(one.requests, x.px_from, x.px_to, rows, 3);
            if (best.requests.empty() || one.places.size() > best.places.size()) best = std::move(one);
        }
    return best;
}

/// From a little below what is usual in the quieter take to a little above the louder one's highest, in tens.
std::pair<double, double> span_of(const std::vector<StripPoint>& before, const std::vector<StripPoint>& after) {
    std::vector<double> levels;
    for (const auto* list : {&before, &after})
        for (const StripPoint& one : *list)
            if (one.level_db > -195.0) levels.push_back(one.level_db);
    if (levels.empty()) return {-140, -100};
    std::sort(levels.begin(), levels.end());
    const double top = 10.0 * std::ceil((levels.back() + 3.0) / 10.0);
    const double bottom = std::max(10.0 * std::floor((levels[levels.size() / 20] - 6.0) / 10.0), top - 140.0);
    return {std::min(bottom, top - 40.0), top};
}

}  // namespace

std::string before_after_svg(const BeforeAfter& one, PictureSize size, const std::string& id, const std::string& title) {
    const bool wide = size == PictureSize::wide;
    const bool volts = one.before->volts_full_scale && one.after->volts_full_scale;
    const auto add_db = [&](const TakePicture& picture) { return volts ? dbv_from_dbfs(0.0, *picture.volts_full_scale) : 0.0; };
    const auto top_of = [](const TakePicture& picture) { return static_cast<double>(picture.line_dbfs.size() - 1) * picture.bin_hz; };
    const double from_hz = 20, to_hz = std::clamp(std::max(top_of(*one.before), top_of(*one.after)), 100.0, 20000.0);
    std::vector<LineChange> lines = line_changes(one);
    std::stable_sort(lines.begin(), lines.end(), [](const LineChange& a, const LineChange& b) { return a.before_dbfs > b.before_dbfs; });

    const svg::Frame bare = frame_of(wide, 0);
    const Scale x{from_hz, to_hz, bare.left, bare.right, true};
    const Labels labels = label(lines, x, wide, bare.font);
    std::size_t rows = 0;
    for (const LabelPlace& place : labels.places) rows = std::max(rows, place.row + 1);
    const svg::Frame frame = frame_of(wide, rows);
    const auto strips = static_cast<std::size_t>(frame.right - frame.left);
    const auto before = strongest_of_strips(*one.before, volts, from_hz, to_hz, strips),
               after = strongest_of_strips(*one.after, volts, from_hz, to_hz, strips);
    const auto [bottom_db, top_db] = span_of(before, after);
    const Scale y{bottom_db, top_db, frame.bottom, frame.top, false};
    const auto on_picture = [&](const std::vector<StripPoint>& list) {
        std::vector<std::pair<double, double>> placed;
        placed.reserve(list.size());
        for (const StripPoint& point : list) placed.emplace_back(x.at(point.frequency_hz), y.at(point.level_db));
        return placed;
    };

    std::string told = "Level against frequency before (shaded) and after (line).";
    for (const std::string& words : before_after_words(one)) told += " " + words;
    std::string out = svg::open(frame, id, title, told);
    out += svg::x_axis(frame, x, thinned(frequency_ticks(from_hz, to_hz), x, 2.6 * frame.font), "frequency, Hz");
    out += svg::y_axis(frame, y, even_ticks(bottom_db, top_db, wide ? 11 : 8), volts ? "dBV" : "dBFS");
    out += svg::area(on_picture(before), frame.bottom, "under") + svg::trace(on_picture(after), "trace after");
    const double row_px = frame.font + 5;
    for (const LabelPlace& place : labels.places) {
        const LineChange& line = lines[place.request];
        const double anchor = labels.requests[place.request].anchor_px, base = frame.top - 6 - row_px * static_cast<double>(place.row);
        const double level = std::max(line.before_dbfs + add_db(*one.before), line.after_dbfs + add_db(*one.after));
        out += svg::line(anchor, base - row_px + 6, anchor, y.at(level) - 5, "leader");
        out += svg::text(place.reads_right ? anchor + 4 : anchor - 4, base, place.reads_right ? "start" : "end", words_of(line, labels.in_full),
                         "label") +
               "\n";
    }
    for (const LineChange& line : lines) {
        const double x_before = x.at(line.before_hz), y_before = y.at(line.before_dbfs + add_db(*one.before));
        const double x_after = x.at(line.after_hz), y_after = y.at(line.after_dbfs + add_db(*one.after));
        out += svg::line(x_before, y_before, x_after, y_after, "fall");
        out += svg::shape(0, x_before, y_before, 4.2, "mark was") + svg::shape(2, x_after, y_after, 4.2, "mark hollow");
    }
    return out + "\n" + svg::close();
}

}  // namespace hushtrace
