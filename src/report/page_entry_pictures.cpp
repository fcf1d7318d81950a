#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/entry_picture.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "page_parts.hpp"

namespace hushtrace::page {
namespace {

constexpr std::size_t kMostSources = 3, kMostPairs = 4, kMostTransfers = 3;
constexpr double kMarked = 0.05;

std::string numbered(const NoiseAnalysis& analysis, const std::string& source_id) {
    for (std::size_t i = 0; i < analysis.noise_sources.size(); ++i)
        if (analysis.noise_sources[i].id == source_id) return fmt::format("finding {}, {}", i + 1, headline(analysis.noise_sources[i]));
    return source_id;
}

std::string chain_figure(const NoiseAnalysis& analysis, const std::string& source_id, std::size_t number) {
    const auto ways = ways_in(analysis, source_id, kMarked);
    if (ways.empty()) return "";
    const std::string title = "Where it gets in: " + numbered(analysis, source_id), id = fmt::format("ec{}", number);
    const std::string caption = fmt::format(
        "<b>{}.</b> The bigger a mark, the likelier; what the likeliest way runs through is bold. Of two ways at once each counts, so they can add "
        "up to more "
        "than 100 %.",
        isolated(title));
    return told_figure(chain_svg(ways, PictureSize::wide, id + "w", title), chain_svg(ways, PictureSize::narrow, id + "n", title), caption,
                       chain_words(ways), "ul");
}

std::string tests_figure(const NoiseAnalysis& analysis, const std::string& source_id, std::size_t number) {
    std::vector<const TestMade*> tests;
    for (const TestMade& one : analysis.tests_made)
        if (one.source_id == source_id) tests.push_back(&one);
    if (tests.empty()) return "";
    const std::string title = "Tests made, and what each ruled out: " + numbered(analysis, source_id), id = fmt::format("et{}", number);
    const std::string caption = fmt::format(
        "<b>{}.</b> Each strand is a way that is open; it leaves where a test brings it below 2 %. Bars: how likely after the test; upright stroke: "
        "before it.",
        isolated(title));
    return told_figure(tests_svg(tests, PictureSize::wide, id + "w", title), tests_svg(tests, PictureSize::narrow, id + "n", title), caption,
                       tests_words(tests), "ol");
}

std::string pair_figure(const NoiseAnalysis& analysis, const BeforeAfter& one, std::size_t number) {
    const std::string title =
        fmt::format("{} {}: {}", one.mended ? "Before and after" : "Without and with", clean_text(one.what), numbered(analysis, one.source->id));
    const std::string id = fmt::format("eb{}", number);
    std::string caption = fmt::format("<b>{}.</b> <span class=\"key under\"></span>{}; <span class=\"key trace\"></span>{}; {}.", isolated(title),
                                      isolated(one.before->take), isolated(one.after->take), isolated(spaced(to_word(one.before->channel))));
    if (!one.said.empty()) caption += " " + isolated(one.said);
    caption += line_changes(one).empty()
                   ? " It has no lines to mark here."
                   : " Dots: its lines before; triangles: after, each read as its strongest bin; ≤: it does not stand out any more.";
    if (contradicts(one)) caption += " <b>The strongest line doesn't show that change: look twice.</b>";
    return told_figure(before_after_svg(one, PictureSize::wide, id + "w", title), before_after_svg(one, PictureSize::narrow, id + "n", title),
                       caption, before_after_words(one), "ul");
}

std::string transfer_figure(const NoiseAnalysis& analysis, const SupplyTransfer& one, std::size_t number) {
    const std::string title = fmt::format("Signal ({}) over the supply's {}: {}", spaced(to_word(one.channel)),
                                          one.against == Channel::supply_current ? "current" : "voltage", numbered(analysis, one.source_id));
    const std::string id = fmt::format("es{}", number);
    std::string caption =
        fmt::format("<b>{}.</b> {}; bars are 95 % intervals, hollow points are less coherent than a half. A slope alone convicts nothing.",
                    isolated(title), isolated(one.take));
    if (one.spoilt) caption += " <b>The probe itself changes the noise: not to be trusted.</b>";
    return told_figure(transfer_svg(one, PictureSize::wide, id + "w", title), transfer_svg(one, PictureSize::narrow, id + "n", title), caption,
                       transfer_words(one), "ul");
}

/// Sources with an entry path or a test, in the findings' order; at most so many.
std::vector<std::string> sources_told(const NoiseAnalysis& analysis) {
    std::vector<std::string> out;
    for (const NoiseSource& source : analysis.noise_sources) {
        const auto is_it = [&](const auto& one) { return one.source_id == source.id; };
        const bool told = std::any_of(analysis.entry_paths.begin(), analysis.entry_paths.end(), is_it) ||
                          std::any_of(analysis.tests_made.begin(), analysis.tests_made.end(), is_it);
        if (told && out.size() < kMostSources) out.push_back(source.id);
    }
    return out;
}

}  // namespace

std::string entry_pictures(const OpenedJob& opened, const NoiseAnalysis& analysis) {
    std::string out;
    std::size_t number = 0;
    for (const std::string& source_id : sources_told(analysis)) {
        ++number;
        out += chain_figure(analysis, source_id, number);
        const std::string tests = tests_figure(analysis, source_id, number);
        // what is loudest is seen at once; the tests of the others are there for who asks
        out += number == 1 || tests.empty() ? tests
                                            : fmt::format("<details>\n<summary>The tests made for {}</summary>\n{}</details>\n",
                                                          isolated(numbered(analysis, source_id)), tests);
    }
    number = 0;
    for (const BeforeAfter& one : choose_before_after(opened.job, analysis, kMostPairs)) out += pair_figure(analysis, one, ++number);
    number = 0;
    for (const SupplyTransfer& one : analysis.supply_transfers)
        if (has_transfer(one) && number < kMostTransfers) out += transfer_figure(analysis, one, ++number);
    return out.empty() ? out : "<section>\n<h2>Where it gets in</h2>\n" + out + "</section>\n";
}

}  // namespace hushtrace::page
