#include "text_entry.hpp"

#include <fmt/format.h>

#include <cmath>

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

/// " -25 (±6)  dB", as an action's change is told
std::string change_column(double change_db, double sd_db) {
    return fmt::format("{:>+4.0f} {} dB  ", std::round(change_db) + 0.0, padded(fmt::format("(±{:.0f})", sd_db), 5));
}

void tell_cures(Lines& lines, const NoiseAnalysis& analysis) {
    std::string source;
    for (const Cure& one : analysis.cures) {
        if (source != one.source_id) lines.title("Would it help to buy ...? For " + one.source_id);
        source = one.source_id;
        lines.row(change_column(one.expected_change_db, one.sd_db) + one.name, 0);
        if (analysis.cures.front().source_id == source) lines.add(one.text, 4);   // what each costs is told once
    }
}

void tell_changes(Lines& lines, const NoiseAnalysis& analysis) {
    if (analysis.changes.empty()) return;
    lines.title("After what was changed");
    for (const ChangeMade& one : analysis.changes) {
        lines.add(fmt::format("{}, {}: {}", one.change, one.source_id, one.text), 0, "- ");
        lines.add(fmt::format("{} against {}, {}", one.after, one.before, spaced(to_word(one.channel))), 2);
    }
}

void tell_dummy_test(Lines& lines, const NoiseAnalysis& analysis) {
    if (!analysis.dummy_test || !(analysis.dummy_test->begun || analysis.dummy_test->asked)) return;
    const DummyTest& test = *analysis.dummy_test;
    lines.title(fmt::format("The four-step dummy test, for {}", test.source_id));
    if (test.asked)
        lines.add(
            "A dummy plug: its shell through, its centre to the shell by a short. Mark it, and take it out at the end. Amplifier off while plugs are "
            "moved.");
    for (const DummyTest::Step& step : test.steps) {
        const std::string bullet = fmt::format("{}. ", step.number);
        if (step.state == "made") lines.add(step.showed + " " + step.means, 0, bullet);
        else if (step.state == "not_needed") lines.add(fmt::format("{}: not needed any more.", step.name), 0, bullet);
        else if (step.state == "next") lines.add("Next: " + step.hands, 0, bullet);
        else lines.add(fmt::format("Then {}.", step.name), 0, bullet);
    }
    if (!test.verdict.empty()) lines.add("Verdict: " + test.verdict);
}

}  // namespace

void tell_entry(Lines& lines, const NoiseAnalysis& analysis) {
    tell_changes(lines, analysis);
    tell_dummy_test(lines, analysis);
    tell_next_test(lines, analysis);
    tell_supply(lines, analysis);
    tell_cures(lines, analysis);
}

}  // namespace hushtrace
