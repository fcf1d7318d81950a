#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

constexpr double kSilence_db = -200.0;  // where digital silence is drawn, whatever the unit

double offset_db(const TakePicture& picture, bool volts) {
    return volts && picture.volts_full_scale ? dbv_from_dbfs(0.0, *picture.volts_full_scale) : 0.0;
}

double held(double level_db) {
    return std::isfinite(level_db) ? std::max(level_db, kSilence_db) : kSilence_db;
}

/// From a little below the usual level of a strip to a little above the highest, in tens.
std::pair<double, double> level_span(const std::vector<StripPoint>& points,
                                     const std::vector<StripPoint>& under) {
    std::vector<double> levels;
    for (const auto* list : {&points, &under})
        for (const StripPoint& one : *list)
            if (one.level_db > kSilence_db) levels.push_back(one.level_db);
    if (levels.empty()) return {-140.0, -100.0};
    std::sort(levels.begin(), levels.end());
    const double top = 10.0 * std::ceil((levels.back() + 3.0) / 10.0);
    const double usual = levels[levels.size() / 20];
    const double bottom = std::max(10.0 * std::floor((usual - 6.0) / 10.0), top - 140.0);
    return {std::min(bottom, top - 40.0), top};
}

/// A finding's line in the picture, with the words that stand above it.
struct Marked {
    const MarkedLine* line = nullptr;
    std::size_t number = 0;  ///< of the finding, from 1; 0 for one that isn't listed
    std::string name;        ///< the finding's kind; the line's own label where it isn't listed
    bool strongest = false;  ///< of its finding's lines
    double level_db = 0;
};

std::vector<Marked> marked_lines(const NoiseAnalysis& analysis, const TakePicture& picture, double add_db,
                                 double from_hz, double to_hz) {
    std::map<std::string, std::size_t> numbers;
    for (std::size_t i = 0; i < analysis.noise_sources.size(); ++i)
        numbers.emplace(analysis.noise_sources[i].id, i + 1);
    std::vector<Marked> marks;
    for (const MarkedLine& one : picture.lines) {
        if (!(one.frequency_hz >= from_hz && one.frequency_hz <= to_hz) || !std::isfinite(one.level_dbfs))
            continue;
        const auto found = numbers.find(one.source_id);
        const std::size_t number = found == numbers.end() ? 0 : found->second;
        const std::string name = number == 0
                                     ? clean_text(one.label)
                                     : std::string(plain_name(analysis.noise_sources[number - 1].kind));
        marks.push_back({&one, number, name, false, one.level_dbfs + add_db});
    }
    std::stable_sort(marks.begin(), marks.end(),
                     [](const Marked& a, const Marked& b) { return a.level_db > b.level_db; });
    std::map<std::string, bool> seen;
    for (Marked& one : marks) one.strongest = !std::exchange(seen[one.line->source_id], true);
    // the words of each finding first, then the bare numbers of its other lines
    std::stable_sort(marks.begin(), marks.end(),
                     [](const Marked& a, const Marked& b) { return a.strongest && !b.strongest; });
    return marks;
}

std::string words_of(const Marked& mark, PictureSize size) {
    const std::string number = mark.number > 0 ? std::to_string(mark.number) : "";
    std::string words = number + (number.empty() ? "" : " ") + mark.name;
    if (size == PictureSize::wide) words += ", " + frequency_text(mark.line->frequency_hz);
    return words;
}

std::size_t rows_allowed(PictureSize size) {
    return size == PictureSize::wide ? 5 : 6;
}

svg::Frame frame_of(PictureSize size, std::size_t rows_used) {
    const double lanes = static_cast<double>(rows_used) * (size == PictureSize::wide ? 18.0 : 17.0);
    if (size == PictureSize::wide) return {900, 352 + lanes, 62, 882, 10 + lanes, 306 + lanes, 13};
    return {372, 296 + lanes, 50, 356, 8 + lanes, 252 + lanes, 12};
}

/// What stands above the picture: words, and the mark that they belong to.
struct Labels {
    std::vector<const Marked*> asking;
    std::vector<std::string> words;
    std::vector<LabelRequest> requests;
    std::vector<LabelPlace> places;
    std::size_t rows_used = 0;

    void ask(const Marked& mark, const std::string& text, const Scale& x, double font_px) {
        if (text.empty()) return;
        asking.push_back(&mark);
        words.push_back(text);
        requests.push_back({x.at(mark.line->frequency_hz), text_width_px(display_width(text), font_px) + 5});
    }
};

/// Stairs that climb the other way: from the left to the right, each reading left.
std::vector<LabelPlace> mirrored_stairs(std::vector<LabelRequest> requests, const Scale& x, PictureSize size) {
    const double ends_px = x.px_from + x.px_to;
    for (LabelRequest& one : requests) one.anchor_px = ends_px - one.anchor_px;
    std::vector<LabelPlace> places = stair_labels(requests, x.px_from, x.px_to, rows_allowed(size), 3);
    for (LabelPlace& one : places) {
        one.left_px = ends_px - std::exchange(one.right_px, ends_px - one.left_px);
        one.reads_right = !one.reads_right;
    }
    return places;
}

/// Full words for the strongest line of each finding while there is room, else its number alone; further lines have their shape.
Labels label(const std::vector<Marked>& marks, const Scale& x, PictureSize size, double font_px) {
    const auto worded = [](const Labels& labels, const std::vector<LabelPlace>& places) {
        std::size_t letters = 0;
        for (const LabelPlace& one : places) letters += labels.words[one.request].size() > 3 ? 1000U : 1U;
        return letters;
    };
    const auto place = [&](const Labels& labels) {
        auto best = place_labels(labels.requests, x.px_from, x.px_to, rows_allowed(size), 3);
        for (const auto& other :
             {stair_labels(labels.requests, x.px_from, x.px_to, rows_allowed(size), 3), mirrored_stairs(labels.requests, x, size)})
            if (worded(labels, other) > worded(labels, best)) best = other;
        return best;
    };
    Labels in_full;
    for (const Marked& one : marks)
        if (one.strongest) in_full.ask(one, words_of(one, size), x, font_px);
    Labels labels;
    std::set<const Marked*> told;
    for (const LabelPlace& one : place(in_full)) {
        labels.ask(*in_full.asking[one.request], in_full.words[one.request], x, font_px);
        told.insert(in_full.asking[one.request]);
    }
    for (const Marked& one : marks)
        if (one.strongest && told.count(&one) == 0)
            labels.ask(one, one.number > 0 ? std::to_string(one.number) : "", x, font_px);
    labels.places = place(labels);
    for (const LabelPlace& one : labels.places) labels.rows_used = std::max(labels.rows_used, one.row + 1);
    return labels;
}

}  // namespace

bool is_sound(float level_dbfs) {
    return std::isfinite(level_dbfs) && level_dbfs > kDigitalSilence_dbfs;
}

bool has_spectrum(const TakePicture& picture) {
    return picture.line_dbfs.size() >= 2 && picture.bin_hz > 0 &&
           std::any_of(picture.line_dbfs.begin() + 1, picture.line_dbfs.end(),
                       [](float level) { return is_sound(level); });
}

std::vector<StripPoint> strongest_of_strips(const TakePicture& picture, bool volts, double from_hz,
                                            double to_hz, std::size_t strips) {
    std::vector<StripPoint> points;
    const double add_db = offset_db(picture, volts);
    std::size_t strip_before = strips;
    const auto first = static_cast<std::size_t>(std::ceil(from_hz / picture.bin_hz));
    for (std::size_t bin = std::max<std::size_t>(first, 1); bin < picture.line_dbfs.size(); ++bin) {
        const double frequency_hz = static_cast<double>(bin) * picture.bin_hz;
        if (frequency_hz > to_hz) break;
        const double share = std::log(frequency_hz / from_hz) / std::log(to_hz / from_hz);
        const auto strip =
            std::min(static_cast<std::size_t>(share * static_cast<double>(strips)), strips - 1);
        const double level_db = held(static_cast<double>(picture.line_dbfs[bin]) + add_db);
        if (strip != strip_before)
            points.push_back({frequency_hz, level_db});
        else if (level_db > points.back().level_db)
            points.back() = {frequency_hz, level_db};
        strip_before = strip;
    }
    return points;
}

std::string spectrum_svg(const NoiseAnalysis& analysis, const TakePicture& picture, const TakePicture* under,
                         PictureSize size, const std::string& id, const std::string& title) {
    const bool volts = picture.volts_full_scale && (!under || under->volts_full_scale);
    const double top_hz = static_cast<double>(picture.line_dbfs.size() - 1) * picture.bin_hz;
    const double to_hz = std::clamp(top_hz, 100.0, 20000.0);
    const double from_hz = 20.0;
    const std::vector<Marked> marks =
        marked_lines(analysis, picture, offset_db(picture, volts), from_hz, to_hz);
    const svg::Frame bare = frame_of(size, 0);
    const Scale x{from_hz, to_hz, bare.left, bare.right, true};
    const Labels labels = label(marks, x, size, bare.font);
    const svg::Frame frame = frame_of(size, labels.rows_used);
    const auto strips = static_cast<std::size_t>(frame.right - frame.left);
    const auto points = strongest_of_strips(picture, volts, from_hz, to_hz, strips);
    const auto below =
        under ? strongest_of_strips(*under, volts, from_hz, to_hz, strips) : std::vector<StripPoint>{};
    const auto [bottom_db, top_db] = level_span(points, below);
    const Scale y{bottom_db, top_db, frame.bottom, frame.top, false};
    const auto on_picture = [&](const std::vector<StripPoint>& list) {
        std::vector<std::pair<double, double>> placed;
        placed.reserve(list.size());
        for (const StripPoint& one : list) placed.emplace_back(x.at(one.frequency_hz), y.at(one.level_db));
        return placed;
    };

    std::string out =
        svg::open(frame, id, title,
                  fmt::format("Level against frequency from {} to {}; {} lines of findings are marked.",
                              frequency_text(from_hz), frequency_text(to_hz), marks.size()));
    out +=
        svg::x_axis(frame, x, thinned(frequency_ticks(from_hz, to_hz), x, 2.6 * frame.font), "frequency, Hz");
    out += svg::y_axis(frame, y, even_ticks(bottom_db, top_db, size == PictureSize::wide ? 11 : 8),
                       volts ? "dBV" : "dBFS");
    out += svg::area(on_picture(below), frame.bottom, "under");
    out += svg::trace(on_picture(points), "trace");

    const double row_px = frame.font + 5;
    for (const LabelPlace& place : labels.places) {
        const Marked& mark = *labels.asking[place.request];
        const double anchor = labels.requests[place.request].anchor_px;
        const double base = frame.top - 6 - row_px * static_cast<double>(place.row);
        out += svg::line(anchor, base - row_px + 6, anchor, y.at(mark.level_db) - 5, "leader");
        out +=
            svg::text(place.reads_right ? anchor + 4 : anchor - 4, base, place.reads_right ? "start" : "end",
                      labels.words[place.request], mark.strongest ? "label" : "tick");
        out += "\n";
    }
    // a shape of its own for each of four findings in turn: filled on the strongest line, hollow on the
    // others
    for (const Marked& one : marks)
        out +=
            svg::shape(one.number == 0 ? 0 : one.number - 1, x.at(one.line->frequency_hz), y.at(one.level_db),
                       one.strongest ? 4.5 : 3.2, one.strongest ? "mark" : "mark hollow");
    return out + "\n" + svg::close();
}

}  // namespace hushtrace
