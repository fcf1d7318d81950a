#include <fmt/format.h>

#include <algorithm>

#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {

std::string next_test(const NoiseAnalysis& analysis) {
    if (!analysis.next_test) return "";
    const NextTest& next = *analysis.next_test;
    std::string out = fmt::format("<section>\n<h2>Next test</h2>\n<p><b>{}</b></p>\n<p>For {}; engine {}; {:.0f} minutes. {}</p>\n<ul>\n",
                                  isolated(next.hands), isolated(next.source_id), isolated(to_word(next.engine)), next.minutes, isolated(next.why));
    for (const NextTest::Branch& one : next.outcomes) out += fmt::format("<li>{}</li>\n", isolated(one.text));
    return out + "</ul>\n</section>\n";
}

std::string supply_probe(const NoiseAnalysis& analysis) {
    if (analysis.supply_transfers.empty() && analysis.feed_impedances.empty()) return "";
    std::string rows, said;
    for (const SupplyTransfer& one : analysis.supply_transfers) {
        double most = 0;
        for (const SupplyTransfer::Point& point : one.points) most = std::max(most, point.coherence);
        const std::string slope = !one.slope_db_per_decade ? "too few lines"
                                                           : fmt::format("{:+.0f} ({:+.0f} to {:+.0f})", one.slope_db_per_decade->value,
                                                                         one.slope_db_per_decade->low(), one.slope_db_per_decade->high());
        rows += "<tr>" + cell(one.source_id, "Noise") + cell(fmt::format("{}, {}", one.take, to_word(one.channel)), "Take") +
                cell(one.against == Channel::supply ? "voltage" : "current", "Over the supply's") + cell(slope, "dB a decade (95 %)") +
                cell(fmt::format("{:.2f}", most), "In common") +
                cell(one.shared_mohm ? fmt::format("{:.3g}", one.shared_mohm->value) : "", "Shared, milliohm") + "</tr>\n";
        said += fmt::format("<li>{}: {}</li>\n", isolated(one.source_id), isolated(one.text));
    }
    for (const FeedImpedance& one : analysis.feed_impedances) said += fmt::format("<li>{}: {}</li>\n", isolated(one.take), isolated(one.text));
    std::string out = "<section>\n<h2>The supply as probe</h2>\n";
    if (!rows.empty()) out += table({"Noise", "Take", "Over the supply's", "dB a decade (95 %)", "In common", "Shared, milliohm"}, rows);
    return out + "<ul>\n" + said + "</ul>\n</section>\n";
}

std::string cures(const NoiseAnalysis& analysis) {
    if (analysis.cures.empty()) return "";
    std::string rows;
    for (const Cure& one : analysis.cures)
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}</tr>\n", isolated(one.name), cell(one.source_id, "for"),
                            cell(change_text(one.expected_change_db, one.sd_db), "expect"),
                            cell(one.text, "what it does and costs"));
    return "<section>\n<h2>Would it help to buy ...?</h2>\n" + table({"what", "for", "expect", "what it does and costs"}, rows) + "</section>\n";
}

std::string changes(const NoiseAnalysis& analysis) {
    if (analysis.changes.empty()) return "";
    std::string rows;
    for (const ChangeMade& one : analysis.changes)
        rows += fmt::format("<tr><th scope=\"row\">{}</th>{}{}{}</tr>\n", isolated(shortened(one.change, 200)), cell(one.source_id, "noise"),
                            cell(one.text, "what came of it"), cell(one.after + " against " + one.before, "takes"));
    return "<section>\n<h2>After what was changed</h2>\n" + table({"change", "noise", "what came of it", "takes"}, rows) + "</section>\n";
}

}  // namespace hushtrace::page
