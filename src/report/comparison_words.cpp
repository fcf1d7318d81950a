#include <fmt/format.h>

#include <array>

#include "comparison_parts.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace::comparison {
namespace {

constexpr std::array<std::string_view, 10> kOrder = {"noise",  "ceiling", "health",  "distortion", "floor",
                                                     "supply", "path",    "balance", "amplifier",  "power"};
constexpr std::size_t kMostTold = 2;  // of each kind, before "and more"

std::size_t rank_of(const ComparedItem& item) {
    return static_cast<std::size_t>(std::find(kOrder.begin(), kOrder.end(), item.area) - kOrder.begin());
}

/// What a thing did, for somebody who never heard of a decibel's reference.
std::string phrase(const ComparedItem& item) {
    const double size = std::abs(item.difference.value_or(0.0));
    const std::string bound = item.at_least ? "at least " : "";
    const std::string where = item.where.empty() ? "" : " (" + item.where + ")";
    if (item.area == "noise" && item.difference) {
        const char* way = *item.difference < 0 ? "quieter" : "louder";
        if (item.verdict == ChangeVerdict::gone)
            return fmt::format("{} is not found any more: {}{:.0f} dB quieter{}.", item.what, bound, size, where);
        if (item.verdict == ChangeVerdict::appeared)
            return fmt::format("{} is new: {}{:.0f} dB louder than it can have been{}.", item.what, bound, size, where);
        return fmt::format("{} is {}{:.0f} dB {}{}.", item.what, bound, size, way, where);
    }
    if (item.area == "floor" && item.difference)
        return fmt::format("{} is {}{:.0f} dB {}{}.", item.what, bound, size, *item.difference < 0 ? "lower" : "higher", where);
    if (item.area == "ceiling" && item.unit == "volume" && item.before && item.after)
        return fmt::format("The source plays clean up to volume {:g}, then up to {:g}{}.", item.after->value, item.before->value, where);
    if (item.area == "distortion" && item.difference)
        return fmt::format("The source distorts {} than it did, at some volumes{}.", *item.difference > 0 ? "more" : "less", where);
    return item.text;
}

/// How far the volume may go is one thing, a floor's weightings are one; else each name is.
bool one_thing(const ComparedItem& a, const ComparedItem& b) {
    const auto of_volume = [](const ComparedItem& one) { return one.area == "ceiling" || one.area == "distortion"; };
    if (of_volume(a) || of_volume(b)) return of_volume(a) && of_volume(b);
    return a.area == b.area && (a.area == "floor" || a.what == b.what);
}

/// The most telling item of each thing, the most telling thing first.
std::vector<const ComparedItem*> telling(const std::vector<ComparedItem>& items, const std::vector<ChangeVerdict>& verdicts) {
    std::vector<const ComparedItem*> out;
    for (const ComparedItem& item : items) {
        if (std::find(verdicts.begin(), verdicts.end(), item.verdict) == verdicts.end()) continue;
        const auto at = std::find_if(out.begin(), out.end(), [&](const ComparedItem* one) { return one_thing(*one, item); });
        if (at == out.end())
            out.push_back(&item);
        else if (item.what == (*at)->what && std::abs(item.difference.value_or(0)) > std::abs((*at)->difference.value_or(0)))
            *at = &item;
    }
    std::stable_sort(out.begin(), out.end(), [](const ComparedItem* a, const ComparedItem* b) {
        if (rank_of(*a) != rank_of(*b)) return rank_of(*a) < rank_of(*b);
        return std::abs(a->difference.value_or(0)) > std::abs(b->difference.value_or(0));
    });
    return out;
}

void tell(std::vector<std::string>& to, const std::vector<const ComparedItem*>& items, const char* start) {
    if (items.empty()) return;
    std::string text = start;
    for (std::size_t i = 0; i < std::min(kMostTold, items.size()); ++i) text += (i > 0 ? " " : "") + phrase(*items[i]);
    if (items.size() > kMostTold) text += fmt::format(" {} more below.", items.size() - kMostTold);
    to.push_back(text);
}

}  // namespace

std::vector<std::string> in_short(const Comparison& comparison) {
    const auto worse = telling(comparison.items, {ChangeVerdict::worse, ChangeVerdict::appeared});
    const auto better = telling(comparison.items, {ChangeVerdict::better, ChangeVerdict::gone});
    const auto changed = telling(comparison.items, {ChangeVerdict::changed});
    const auto count = [&](ChangeVerdict verdict) {
        return std::count_if(comparison.items.begin(), comparison.items.end(), [&](const ComparedItem& one) { return one.verdict == verdict; });
    };
    const auto compared = static_cast<std::ptrdiff_t>(comparison.items.size()) - count(ChangeVerdict::not_comparable);
    std::vector<std::string> out;
    if (compared == 0)
        out.emplace_back("Nothing could be told: what was measured alike lies below what could be measured, or can't be held against each other.");
    else if (worse.empty() && better.empty())
        out.emplace_back(changed.empty()
                             ? "As far as it was measured alike, the system is as good as it was: nothing changed beyond what repeats."
                             : "As far as it was measured alike, the system is as good as it was, though not everything is set as it was.");
    else if (worse.empty())
        out.emplace_back("As far as it was measured alike, the system is better than it was, and nothing got worse.");
    else if (better.empty())
        out.emplace_back("The system is not as good as it was.");
    else
        out.emplace_back("Something got better and something got worse.");
    tell(out, worse, "Worse: ");
    tell(out, better, "Better: ");
    tell(out, changed, "Otherwise than it was: ");
    const std::size_t left = comparison.left_out.size();
    out.push_back(fmt::format("Compared: {} pair{} of takes made alike. {}", comparison.pairs.size(), comparison.pairs.size() == 1 ? "" : "s",
                              left == 0 ? std::string("None was left out.")
                                        : fmt::format("Left out, since nothing like {} was made on the other side: {} take{}.",
                                                      left == 1 ? "it" : "them", left, left == 1 ? "" : "s")));
    return out;
}

}  // namespace hushtrace::comparison
