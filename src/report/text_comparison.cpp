#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/report/comparison.hpp"
#include "hushtrace/report/wording.hpp"
#include "lines.hpp"

namespace hushtrace {
namespace {

/// By name alone, each once: what is as it was needs no figures here, the page has them.
void tell_unchanged(Lines& lines, const Comparison& comparison) {
    std::vector<std::pair<std::string, std::size_t>> names;
    for (const ComparedItem& one : comparison.items) {
        if (one.verdict != ChangeVerdict::unchanged) continue;
        const auto at = std::find_if(names.begin(), names.end(), [&](const auto& name) { return name.first == one.what; });
        if (at == names.end())
            names.emplace_back(one.what, 1);
        else
            ++at->second;
    }
    if (names.empty()) return;
    lines.title("Unchanged, as far as it repeats");
    for (const auto& one : names) lines.add(one.second == 1 ? one.first : fmt::format("{} ({} figures)", one.first, one.second), 0, "- ");
}

}  // namespace

std::string comparison_text(const Comparison& comparison) {
    Lines lines;
    lines.title(fmt::format("Before and now: {}", comparison.title.empty() ? "untitled job" : clean_text(comparison.title)));
    for (const std::string& one : comparison.in_short) lines.add(one);
    const auto section = [&](const char* title, const std::vector<ChangeVerdict>& verdicts) {
        bool any = false;
        for (const ComparedItem& one : comparison.items) {
            if (std::find(verdicts.begin(), verdicts.end(), one.verdict) == verdicts.end()) continue;
            if (!any) lines.title(title);
            any = true;
            lines.add(one.text, 0, "- ");
        }
    };
    section("Worse", {ChangeVerdict::worse, ChangeVerdict::appeared});
    section("Better", {ChangeVerdict::better, ChangeVerdict::gone});
    section("Otherwise than it was", {ChangeVerdict::changed});
    const bool banded = std::any_of(comparison.curves.begin(), comparison.curves.end(), [](const ComparedCurve& one) {
        return one.kind == ComparedCurve::Kind::floor &&
               std::any_of(one.points.begin(), one.points.end(), [](const ComparedPoint& point) { return point.changed; });
    });
    if (banded) {
        lines.title("Noise floor by third-octaves");
        for (const ComparedCurve& one : comparison.curves)
            if (one.kind == ComparedCurve::Kind::floor) lines.add(one.title + ". " + one.text, 0, "- ");
    }
    tell_unchanged(lines, comparison);
    section("Not compared", {ChangeVerdict::not_comparable});
    if (!comparison.left_out.empty()) lines.title("Takes that were not made alike");
    for (const TakeLeftOut& one : comparison.left_out) lines.add(one.text, 0, "- ");
    std::vector<std::string> notes = comparison.notes;
    for (const TakePairing& pair : comparison.pairs)
        for (const std::string& remark : pair.remarks)
            if (std::find(notes.begin(), notes.end(), remark) == notes.end()) notes.push_back(remark);
    if (!notes.empty()) lines.title("To keep in mind");
    for (const std::string& one : notes) lines.add(one, 0, "- ");
    return lines.text();
}

}  // namespace hushtrace
