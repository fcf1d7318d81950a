#include "text_entry.hpp"

#include <fmt/format.h>

#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

void tell_next_test(Lines& lines, const NoiseAnalysis& analysis) {
    if (!analysis.next_test) return;
    const NextTest& next = *analysis.next_test;
    lines.title(fmt::format("Next test, for {}", next.source_id));
    lines.add(next.hands);
    lines.add(fmt::format("Engine: {}. Labour: {:.0f} min. {}", to_word(next.engine), next.minutes, next.why));
    for (const NextTest::Branch& one : next.outcomes) lines.add(one.text, 2, "- ");
}

void tell_supply(Lines& lines, const NoiseAnalysis& analysis) {
    if (analysis.supply_transfers.empty() && analysis.feed_impedances.empty()) return;
    lines.title("The supply as probe");
    for (const SupplyTransfer& one : analysis.supply_transfers)
        lines.add(fmt::format("{}, {}, {}: {}", one.source_id, one.take, to_word(one.channel), one.text), 2, "- ");
    for (const FeedImpedance& one : analysis.feed_impedances) lines.add(fmt::format("The feed, {}: {}", one.take, one.text), 2, "- ");
}

}  // namespace

void tell_entry(Lines& lines, const NoiseAnalysis& analysis) {
    tell_next_test(lines, analysis);
    tell_supply(lines, analysis);
}

}  // namespace hushtrace
