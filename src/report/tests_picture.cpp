#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/entry_picture.hpp"
#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

constexpr double kOpen = 0.02;   // as the analysis: less is ruled out
constexpr double kShown = 0.05;  // a way that was never as likely as this gets no bar

double held(double chance) { return std::isfinite(chance) ? std::clamp(chance, 0.0, 1.0) : 0.0; }

/// A way over all tests.
struct Strand {
    std::string name;
    double last = 0;         ///< its chance after the last test that tells it
    std::size_t leaves = 0;  ///< the test that rules it out for good; the number of tests for one that stays open
};

const TestMade::Way* way_in(const TestMade& test, const std::string& name) {
    for (const TestMade::Way& one : test.ways)
        if (one.name == name) return &one;
    return nullptr;
}

/// Those that stay first, the likeliest first; then those that leave last, so that no strand crosses another.
std::vector<Strand> strands_of(const std::vector<const TestMade*>& tests) {
    std::vector<Strand> out;
    for (const TestMade* test : tests)
        for (const TestMade::Way& way : test->ways)
            if (std::none_of(out.begin(), out.end(), [&](const Strand& one) { return one.name == way.name; })) out.push_back({way.name, 0, 0});
    for (Strand& strand : out)
        for (std::size_t t = 0; t < tests.size(); ++t) {
            const TestMade::Way* way = way_in(*tests[t], strand.name);
            strand.last = way ? held(way->after) : 0.0;
            if (strand.last >= kOpen) strand.leaves = t + 1;
        }
    std::stable_sort(out.begin(), out.end(),
                     [](const Strand& a, const Strand& b) { return a.leaves != b.leaves ? a.leaves > b.leaves : a.last > b.last; });
    return out;
}

std::string names_of(const std::vector<std::string>& names) {
    std::string out;
    for (const std::string& one : names) out += (out.empty() ? "" : ", ") + short_name(one);
    return out;
}
/// What leaves for good at test t, what comes back later, and what is back.
std::vector<std::string> leaving(const std::vector<Strand>& strands, std::size_t t) {
    std::vector<std::string> out;
    for (const Strand& one : strands)
        if (one.leaves == t) out.push_back(one.name);
    return out;
}
std::vector<std::string> for_now(const TestMade& test, const std::vector<Strand>& strands, std::size_t t) {
    std::vector<std::string> out;
    for (const std::string& one : test.ruled_out)
        if (std::none_of(strands.begin(), strands.end(), [&](const Strand& strand) { return strand.name == one && strand.leaves <= t; }))
            out.push_back(one);
    return out;
}
std::vector<std::string> back_again(const std::vector<const TestMade*>& tests, std::size_t t) {
    std::vector<std::string> out;
    for (const TestMade::Way& way : tests[t]->ways)
        if (t > 0 && held(way.before) < kOpen && held(way.after) >= kOpen) out.push_back(way.name);
    return out;
}

std::vector<TestMade::Way> shown_ways(const TestMade& test, std::size_t most) {
    std::vector<TestMade::Way> out;
    for (const TestMade::Way& way : test.ways)
        if (held(way.before) >= kShown || held(way.after) >= kShown) out.push_back(way);
    std::stable_sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return held(a.after) > held(b.after); });
    if (out.size() > most) out.resize(most);
    return out;
}

std::string outcome_of(const TestMade& test) { return clean_text(test.outcome.text.empty() ? test.name : test.outcome.text); }

/// One test's row: its words wrapped, its bars, and where it lies.
struct Row {
    std::vector<std::string> words;
    std::vector<std::string> twig;  ///< the words at the end of what leaves
    std::vector<TestMade::Way> bars;
    double top = 0, bottom = 0;
};

struct Measures {
    bool wide = true;
    double font = 13, line = 17, strand = 5, trunk = 18;
    double text_left = 0, text_right = 0, bars_left = 0, name = 0, bar = 0;
    std::size_t most_bars = 4;
    double width = 900;
    std::size_t columns() const { return static_cast<std::size_t>((text_right - text_left) / text_width_px(1, font)); }
};

Measures measures_of(PictureSize size, std::size_t strands) {
    Measures m;
    m.wide = size == PictureSize::wide;
    if (!m.wide) m.font = 12, m.line = 16, m.strand = 3.4, m.trunk = 9, m.most_bars = 3, m.width = 372;
    m.text_left = m.trunk + m.strand * static_cast<double>(strands) + (m.wide ? 40 : 30);
    m.text_right = m.wide ? 480 : 364;
    m.bars_left = m.wide ? 500 : m.text_left;
    m.name = m.wide ? 168 : 148;
    m.bar = (m.wide ? 882 : 364) - m.bars_left - m.name - (m.wide ? 88 : 76);
    return m;
}

std::vector<Row> rows_of(const std::vector<const TestMade*>& tests, const std::vector<Strand>& strands, const Measures& m, double top) {
    std::vector<Row> rows;
    for (std::size_t t = 0; t < tests.size(); ++t) {
        Row row;
        row.words = wrap_text(outcome_of(*tests[t]), m.columns());
        if (const auto back = back_again(tests, t); !back.empty())
            for (const std::string& one : wrap_text("open again: " + names_of(back), m.columns())) row.words.push_back(one);
        if (const auto gone = for_now(*tests[t], strands, t); !gone.empty())
            for (const std::string& one : wrap_text("ruled out for now: " + names_of(gone), m.columns())) row.words.push_back(one);
        if (const auto gone = leaving(strands, t); !gone.empty()) row.twig = wrap_text("ruled out: " + names_of(gone), m.columns());
        row.bars = shown_ways(*tests[t], m.most_bars);
        const double words_px = m.line * static_cast<double>(row.words.size() + row.twig.size());
        const double bars_px = m.line * static_cast<double>(row.bars.size());
        row.top = top;
        row.bottom = top += (m.wide ? std::max(words_px, bars_px) : words_px + bars_px + 4) + 16;
        rows.push_back(std::move(row));
    }
    return rows;
}

double twig_y(const Row& row, const Measures& m) { return row.top + m.line * static_cast<double>(row.words.size()) + 8 + 0.55 * m.line; }

std::string strand_path(const Strand& strand, std::size_t i, const std::vector<Row>& rows, const Measures& m, double from, double to) {
    const double x = m.trunk + m.strand * static_cast<double>(i);
    const char* style = i == 0 && strand.leaves == rows.size() ? "strand bold" : strand.leaves == rows.size() ? "strand" : "strand gone";
    if (strand.leaves >= rows.size()) return svg::trace({{x, from}, {x, to}}, style);
    const double y = twig_y(rows[strand.leaves], m), bend = 7;
    return fmt::format("<path class=\"{}\" d=\"M{:.1f} {:.1f}V{:.1f}Q{:.1f} {:.1f} {:.1f} {:.1f}H{:.1f}\"/>\n", style, x, from, y - bend, x, y,
                       x + bend, y, m.text_left - 8);
}

std::string bars(const Row& row, const Measures& m) {
    std::string out;
    double y = row.top + 8 + (m.wide ? 0.0 : m.line * static_cast<double>(row.words.size() + row.twig.size()) + 2);
    for (const TestMade::Way& way : row.bars) {
        const double left = m.bars_left + m.name, middle = y + 0.5 * m.line, before = held(way.before), after = held(way.after);
        out += svg::text(left - 8, middle + 0.35 * m.font, "end", short_name(way.name), after >= 0.5 ? "label" : "words");
        out += fmt::format("<rect class=\"bar-room\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"9\"/>", left, middle - 4.5, m.bar);
        out += fmt::format("<rect class=\"bar\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"9\"/>", left, middle - 4.5, m.bar * after);
        out += svg::line(left + m.bar * before, middle - 7, left + m.bar * before, middle + 7, "bar-before");
        out += svg::text(left + m.bar + 6, middle + 0.35 * m.font, "start", fmt::format("{:.0f} → {:.0f} %", 100.0 * before, 100.0 * after), "words");
        out += "\n";
        y += m.line;
    }
    return out;
}

}  // namespace

std::string tests_svg(const std::vector<const TestMade*>& tests, PictureSize size, const std::string& id, const std::string& title) {
    const std::vector<Strand> strands = strands_of(tests);
    const Measures m = measures_of(size, strands.size());
    const double head = m.line + 14;
    const std::vector<Row> rows = rows_of(tests, strands, m, head);
    const double end = rows.back().bottom + 6;
    svg::Frame frame;
    frame.width = m.width, frame.font = m.font;
    const std::vector<std::string> still = leaving(strands, tests.size());
    const auto last = wrap_text(
        still.empty() ? "nothing is left open: a test went wrong, or more ways are at work" : "still open: " + names_of(still), m.columns());
    frame.height = end + m.line * static_cast<double>(last.size()) + 14;
    const auto open_at_first =
        std::count_if(tests.front()->ways.begin(), tests.front()->ways.end(), [](const auto& way) { return held(way.before) >= kOpen; });
    std::string told;
    for (const std::string& one : tests_words(tests)) told += (told.empty() ? "" : " ") + one;
    std::string out = svg::open(frame, id, title, told);
    out += svg::text(m.text_left, m.line, "start", fmt::format("before any test: {} ways open", open_at_first), "tick");
    for (const auto& row : rows) out += svg::line(m.text_left, row.top, m.width - 8, row.top, "grid");
    for (std::size_t i = strands.size(); i-- > 0;) out += strand_path(strands[i], i, rows, m, 6, end + 8);
    for (std::size_t t = 0; t < rows.size(); ++t) {
        double y = rows[t].top + 8 + 0.5 * m.line + 0.35 * m.font;
        out += svg::text(m.text_left - 8, y, "end", fmt::format("{}", t + 1), "label over");
        for (const std::string& one : rows[t].words) {
            out += svg::text(m.text_left, y, "start", one, "words");
            y += m.line;
        }
        for (const std::string& one : rows[t].twig) {
            out += svg::text(m.text_left, y, "start", one, "tick");
            y += m.line;
        }
        out += "\n" + bars(rows[t], m);
    }
    double y = end + m.line;
    for (const std::string& one : last) {
        out += svg::text(m.text_left, y, "start", one, "label");
        y += m.line;
    }
    return out + "\n" + svg::close();
}

std::vector<std::string> tests_words(const std::vector<const TestMade*>& tests) {
    std::vector<std::string> out;
    for (std::size_t t = 0; t < tests.size(); ++t) {
        std::string text = outcome_of(*tests[t]);
        for (const TestMade::Way& way : shown_ways(*tests[t], 4))
            text += fmt::format(" {}: from {:.0f} to {:.0f} %.", clean_text(way.name), 100.0 * held(way.before), 100.0 * held(way.after));
        std::string gone;
        for (const std::string& one : tests[t]->ruled_out) gone += (gone.empty() ? "" : ", ") + clean_text(one);
        if (!gone.empty()) text += " Ruled out: " + gone + ".";
        std::string back;
        for (const std::string& one : back_again(tests, t)) back += (back.empty() ? "" : ", ") + clean_text(one);
        if (!back.empty()) text += " Open again: " + back + ".";
        out.push_back(std::move(text));
    }
    return out;
}

}  // namespace hushtrace
