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

}  // namespace

void tell_entry(Lines& lines, const NoiseAnalysis& analysis) { tell_next_test(lines, analysis); }

}  // namespace hushtrace
