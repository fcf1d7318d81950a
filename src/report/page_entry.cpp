#include <fmt/format.h>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {

std::string next_test(const NoiseAnalysis& analysis) {
    if (!analysis.next_test) return "";
    const NextTest& next = *analysis.next_test;
    std::string out = fmt::format("<section>\n<h2>Next test</h2>\n<p><b>{}</b></p>\n<p>For {}; engine {}; {:.0f} minutes. {}</p>\n<ul>\n", escaped(next.hands),
                                  escaped(next.source_id), escaped(to_word(next.engine)), next.minutes, escaped(next.why));
    for (const NextTest::Branch& one : next.outcomes) out += fmt::format("<li>{}</li>\n", escaped(one.text));
    return out + "</ul>\n</section>\n";
}

}  // namespace hushtrace::page
