#include "hushtrace/report/level_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

std::string level_label(double db, const LevelStage& stage) {
    return stage.at_ear ? fmt::format("{:.0f} dB SPL", db) : fmt::format("{:.1f} dBV", db);
}
std::string floor_label(const LevelStage& stage) {
    return (stage.floor_at_most ? "≤ " : stage.floor_at_least ? "≥ " : "") + level_label(*stage.floor_db, stage);
}
std::string room_label(const LevelStage& stage) {
    const auto room = stage.room_db();
    return room ? fmt::format("{}{:.0f} dB", stage.floor_at_most ? "≥ " : stage.floor_at_least ? "≤ " : "", *room) : "not known";
}
std::string headroom_label(const LevelStage& stage) {
    const auto gap = stage.headroom_db();
    return !gap ? "-" : fmt::format("{:.1f} dB", *gap);
}

/// Levels on one scale: dB SPL moved so that the ear's highest level stands where the speaker's does.
struct Levels {
    double low = -100, high = 20;
    std::optional<double> to_spl_db;

    explicit Levels(const LevelDiagram& diagram) {
        const LevelStage &ear = diagram.stages.back(), &speaker = diagram.stages[diagram.stages.size() - 2];
        if (ear.highest_db && speaker.highest_db) to_spl_db = *ear.highest_db - *speaker.highest_db;
        if (!to_spl_db && ear.floor_db && speaker.floor_db) to_spl_db = *ear.floor_db - *speaker.floor_db;
        std::vector<double> all;
        for (const LevelStage& one : diagram.stages)
            for (const auto& level : {one.highest_db, one.floor_db, one.limit_db})
                if (level && std::isfinite(*level)) all.push_back(on_scale(*level, one));
        if (all.empty()) return;
        const auto [least, most] = std::minmax_element(all.begin(), all.end());
        low = 10 * std::floor((*least - 8) / 10), high = 10 * std::ceil((*most + 8) / 10);
        if (high - low < 40) low = high - 40;
    }
    double on_scale(double level_db, const LevelStage& stage) const { return stage.at_ear ? level_db - to_spl_db.value_or(0) : level_db; }
};

/// A column or a row as numbers along the levels' axis [px].
struct Span {
    std::optional<double> highest, floor, limit;
};
Span span_of(const LevelStage& stage, const Levels& levels, const Scale& scale) {
    const auto at = [&](const std::optional<double>& level) {
        return level && std::isfinite(*level) ? std::optional(scale.at(levels.on_scale(*level, stage))) : std::nullopt;
    };
    return {at(stage.highest_db), at(stage.floor_db), at(stage.limit_db)};
}

std::string rect(double x, double y, double width, double height, const char* css_class) {
    return fmt::format("<rect class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>", css_class, x, y, std::max(0.0, width),
                       std::max(0.0, height));
}

std::string told(const LevelDiagram& diagram) {
    std::string out = "Highest clean level and noise at each stage from the source to the ear.";
    for (const std::string& one : level_words(diagram)) out += " " + one;
    return out;
}

/// What stands below a column: the stage's name, its room, what its limit leaves.
std::string column_words(const LevelStage& stage, double x, double top, double line_px) {
    std::string out;
    double y = top;
    auto name = wrap_text(stage.name, 13);
    name.resize(2);
    for (const std::string& one : name) out += svg::text(x, y += line_px, "middle", one, "label");
    out += svg::text(x, y += line_px + 4, "middle", room_label(stage), "words");
    out += svg::text(x, y += line_px, "middle", headroom_label(stage), "words");
    return out + "\n";
}

std::string wide(const LevelDiagram& diagram, const std::string& id, const std::string& title) {
    const svg::Frame frame{900, 434, 92, 838, 34, 322, 13};
    const Levels levels(diagram);
    const Scale y{levels.low, levels.high, frame.bottom, frame.top, false};
    std::string out = svg::open(frame, id, title, told(diagram));
    out += svg::y_axis(frame, y, even_ticks(levels.low, levels.high, 9), "dBV");
    const double step = (frame.right - frame.left) / static_cast<double>(diagram.stages.size()), half = 27;
    if (levels.to_spl_db) {
        const Scale spl{levels.low + *levels.to_spl_db, levels.high + *levels.to_spl_db, frame.bottom, frame.top, false};
        for (const Tick& tick : even_ticks(spl.from, spl.to, 9))
            out += svg::text(frame.right + 6, spl.at(tick.value) + 4, "start", tick.label, "tick");
        out += svg::text(frame.right + 6, frame.top - 14, "start", "dB SPL", "tick");
    }
    std::optional<double> top_before, floor_before;
    double right_before = 0;
    for (std::size_t i = 0; i < diagram.stages.size(); ++i) {
        const LevelStage& stage = diagram.stages[i];
        const double x = frame.left + (static_cast<double>(i) + 0.5) * step;
        const Span span = span_of(stage, levels, y);
        if (span.highest && span.floor) {
            out += rect(x - half, *span.highest, 2 * half, *span.floor - *span.highest, "under");
        } else {
            const double from = span.highest.value_or(frame.top), to = span.floor.value_or(frame.bottom);
            out += rect(x - half, from, 2 * half, to - from, "unknown");
            out += svg::text(x, 0.5 * (from + to), "middle", "not known", "tick");
        }
        if (span.highest) {
            if (top_before) out += svg::line(right_before, *top_before, x - half, *span.highest, "leader");
            out += svg::line(x - half, *span.highest, x + half, *span.highest, "level-top");
            out += svg::text(x, *span.highest - 8, "middle", level_label(*stage.highest_db, stage), "label over");
        }
        if (span.floor) {
            if (floor_before) out += svg::line(right_before, *floor_before, x - half, *span.floor, "leader");
            out += svg::line(x - half, *span.floor, x + half, *span.floor, "level-floor");
            out += svg::text(x, *span.floor + 17, "middle", floor_label(stage), "label over");
        }
        top_before = span.highest, floor_before = span.floor, right_before = x + half;
        if (span.limit) out += svg::line(x - half - 12, *span.limit, x + half + 12, *span.limit, "limit");
        out += column_words(stage, x, frame.bottom + 6, 17);
    }
    out += svg::text(frame.left - 8, frame.bottom + 6 + 3 * 17 + 4, "end", "room", "tick");
    out += svg::text(frame.left - 8, frame.bottom + 6 + 4 * 17 + 4, "end", "headroom", "tick");
    return out + svg::close();
}

std::string narrow(const LevelDiagram& diagram, const std::string& id, const std::string& title) {
    const double row = 76, line_px = 16;
    svg::Frame frame{372, 0, 14, 358, 8, 0, 12};
    frame.bottom = frame.top + row * static_cast<double>(diagram.stages.size());
    frame.height = frame.bottom + 40;
    const Levels levels(diagram);
    const Scale x{levels.low, levels.high, frame.left, frame.right, false};
    std::string out = svg::open(frame, id, title, told(diagram));
    out += svg::x_axis(frame, x, thinned(even_ticks(levels.low, levels.high, 6), x, 40), levels.to_spl_db ? "dBV; the ear's row is moved" : "dBV");
    for (std::size_t i = 0; i < diagram.stages.size(); ++i) {
        const LevelStage& stage = diagram.stages[i];
        const double top = frame.top + row * static_cast<double>(i) + line_px + 6, thick = 16;
        const Span span = span_of(stage, levels, x);
        out += svg::text(frame.left, top - 6, "start", stage.name, "label over");
        const std::string headroom = stage.headroom_db() ? ", headroom " + headroom_label(stage) : "";
        out += svg::text(frame.right, top - 6, "end", "room " + room_label(stage) + headroom, "tick over");
        if (span.highest && span.floor) {
            out += rect(*span.floor, top, *span.highest - *span.floor, thick, "under");
        } else {
            const double from = span.floor.value_or(frame.left), to = span.highest.value_or(frame.right);
            out += rect(from, top, to - from, thick, "unknown");
            out += svg::text(0.5 * (from + to), top + thick - 4, "middle", "not known", "tick");
        }
        if (span.highest) out += svg::line(*span.highest, top, *span.highest, top + thick, "level-top");
        if (span.floor) out += svg::line(*span.floor, top, *span.floor, top + thick, "level-floor");
        if (span.limit) out += svg::line(*span.limit, top - 4, *span.limit, top + thick + 4, "limit");
        const double words = top + thick + line_px;
        if (span.floor) out += svg::text(std::max(*span.floor, frame.left), words, "start", floor_label(stage), "words over");
        if (span.highest) out += svg::text(std::min(*span.highest, frame.right), words, "end", level_label(*stage.highest_db, stage), "words over");
        out += "\n";
    }
    return out + svg::close();
}

}  // namespace

std::string level_svg(const LevelDiagram& diagram, PictureSize size, const std::string& id, const std::string& title) {
    return size == PictureSize::wide ? wide(diagram, id, title) : narrow(diagram, id, title);
}

}  // namespace hushtrace
