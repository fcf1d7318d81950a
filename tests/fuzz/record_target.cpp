#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "hushtrace/report/comparison.hpp"
#include "hushtrace/report/index.hpp"
#include "target.hpp"
#include "temporary_folder.hpp"

namespace hushtrace::fuzz {
namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

/// The same vehicle after some work: so every figure has a partner that differs.
RecordedSystem worked_on(RecordedSystem system) {
    for (auto& source : system.sources)
        for (auto& level : source.levels)
            if (level.level.dbfs) level.level.dbfs->value -= 10;
    for (auto& floor : system.floors)
        for (auto& [name, level] : floor.figures)
            if (level.dbfs) level.dbfs->value += 3;
    for (auto& curve : system.curves)
        if (curve.ceiling_volume) *curve.ceiling_volume += 1;
    for (auto& path : system.paths)
        for (auto& [name, figure] : path.figures) figure.value *= 2;
    return system;
}

bool is_figure(const std::optional<ComparedFigure>& figure) {
    return !figure || (std::isfinite(figure->value) && std::isfinite(figure->sd) && figure->sd >= 0);
}

/// No drawing stands at NaN or infinity. A quote in foreign text is written as &quot;, so such a value is our own.
void require_drawable(std::string_view page) {
    for (auto at = page.find("=\""); at != page.npos; at = page.find("=\"", at + 2)) {
        const std::string_view value = page.substr(at + 2, page.find('"', at + 2) - at - 2);
        const auto name = page.substr(0, at).find_last_of(" \n");
        const std::string_view attribute = page.substr(name + 1, at - name - 1);
        for (const std::string_view one : {"x", "y", "x1", "x2", "y1", "y2", "width", "height", "points", "d", "cx", "cy", "r", "transform"})
            require(attribute != one || (value.find("nan") == value.npos && value.find("inf") == value.npos), "a picture is drawn at no number");
    }
}

void look_at(const Comparison& comparison) {
    for (const ComparedItem& one : comparison.items) {
        require(is_figure(one.before) && is_figure(one.after), "a figure is not finite");
        require(std::isfinite(one.difference.value_or(0)) && std::isfinite(one.difference_sd.value_or(0)), "a difference is not finite");
        require_sentence(one.text);
    }
    for (const ComparedCurve& curve : comparison.curves)
        for (const ComparedPoint& point : curve.points)
            require(std::isfinite(point.x) && is_figure(point.before) && is_figure(point.after), "a point is not finite");
    require(!comparison_text(comparison).empty(), "a comparison without words");
    require(Json::parse(comparison_document(comparison, "0", "a.html", "a.json")).is_object(), "a comparison's data are no object");
    const std::string page = comparison_page(comparison, "0");
    require(page.find("<script") == page.npos, "a page with a script");
    require_drawable(page);
}

void compare(Bytes bytes) {
    const RecordedSystem system = read_recorded(as_text(bytes), "earlier.json");
    look_at(compare_records(system, worked_on(system)));
    look_at(compare_records(worked_on(system), system, RecordState::first));
}

void index(Bytes bytes) {
    const TemporaryFolder folder;
    fs::create_directory(folder / "records");
    std::ofstream(folder / "job.json") << R"({"schema":"hushtrace.job/1","title":"van"})";
    std::ofstream(folder / "records" / "report.json") << as_text(bytes);
    const IndexLine line = index_line(folder.path(), "0");
    require(!line.failed && line.text.find('\n') + 1 == line.text.size(), "a record takes its job's line away");
    require(Json::parse(line.text).is_object(), "a line that is no object");
}

}  // namespace

void try_record(Bytes bytes) {
    done_or_refused([&] { compare(bytes); });
    done_or_refused([&] { index(bytes); });
}

}  // namespace hushtrace::fuzz
