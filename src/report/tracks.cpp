#include "tracks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kMostPoints = 200;

using Points = std::vector<std::pair<double, double>>;

struct Name {
    double y_px = 0;
    std::string text;
    bool leads = false;
};

/// The part of a line that the plot holds [px]; a line that leaves it ends at its edge.
Points drawn(const PictureTrack& track, double ratio, const Scale& x, const Scale& y) {
    Points out;
    const std::size_t stride = track.points.size() / kMostPoints + 1;
    for (std::size_t i = 0; i < track.points.size(); i += stride) {
        const double f = track.points[i].second * ratio;
        if (std::isfinite(f) && f >= y.from && f <= y.to) out.emplace_back(x.at(track.points[i].first), y.at(f));
    }
    return out;
}

std::vector<PictureTrack> tracks_of(const TakePicture& picture) {
    if (!picture.tracks.empty() || picture.track.empty()) return picture.tracks;
    return {{"", "the engine's leading line", false, picture.track, {1.0}}};
}

std::string names_svg(std::vector<Name> names, const svg::Frame& frame) {
    std::stable_sort(names.begin(), names.end(), [](const Name& a, const Name& b) { return a.leads > b.leads; });
    std::vector<double> taken;
    std::string out;
    for (const Name& name : names) {
        double base = name.y_px - 5;  // above the line; below it where there is no room
        if (base < frame.top + frame.font) base = name.y_px + frame.font + 3;
        const bool crowded = std::any_of(taken.begin(), taken.end(),
                                         [&](double other) { return std::abs(other - base) < frame.font + 2; });
        if (crowded) continue;
        taken.push_back(base);
        out += svg::text(frame.left + 5, base, "start", name.text, "track-name");
    }
    return out;
}

}  // namespace

std::string ratio_text(double ratio) {
    if (std::abs(ratio - 1.0) < 0.002) return "";
    const double whole = std::round(ratio);
    if (whole >= 1.0 && std::abs(ratio / whole - 1.0) < 0.004) return fmt::format("×{:.0f}", whole);
    for (const int parts : {2, 3, 4, 6}) {
        const double count = std::round(ratio * parts);
        if (count >= 1.0 && std::abs(ratio * parts / count - 1.0) < 0.004) return fmt::format("×{:.0f}/{}", count, parts);
    }
    return "×" + figures_text(ratio, 3);
}

std::string tracks_svg(const TakePicture& picture, const svg::Frame& frame, const Scale& x, const Scale& y) {
    std::string out;
    std::vector<Name> names;
    for (const PictureTrack& track : tracks_of(picture))
        for (const double ratio : track.ratios) {
            const Points points = drawn(track, ratio, x, y);
            if (points.size() < 2) continue;
            const bool leads = ratio_text(ratio).empty();
            const char* edge = track.clicks ? "track-edge dots" : "track-edge";
            const char* line = track.clicks ? "track dots" : leads ? "track" : "track faint";
            out += svg::trace(points, edge) + svg::trace(points, line);
            std::string text = leads ? track.label + (track.clicks ? ", clicks a second" : "") : ratio_text(ratio);
            if (leads && track.source_id.empty()) text.clear();  // the caption tells it
            if (!text.empty()) names.push_back({points.front().second, text, leads});
        }
    return out + names_svg(std::move(names), frame) + "\n";
}

std::string tracks_words(const TakePicture& picture) {
    if (picture.tracks.empty()) return picture.track.empty() ? "" : " The engine's leading line is dashed.";
    std::string out = " Drawn: ";
    bool first = true;
    for (const PictureTrack& track : picture.tracks) {
        out += (first ? "" : "; ") + track.label;
        first = false;
        if (track.clicks) {
            out += "'s rate, dotted";
            continue;
        }
        std::string further;
        for (const double ratio : track.ratios)
            if (!ratio_text(ratio).empty()) further += (further.empty() ? "" : ", ") + ratio_text(ratio);
        out += further.empty() ? ", dashed" : ", dashed, with its lines " + further;
    }
    return out + ".";
}

}  // namespace hushtrace
