#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "hushtrace/report/entry_picture.hpp"
#include "hushtrace/report/labels.hpp"
#include "hushtrace/report/wording.hpp"
#include "svg.hpp"

namespace hushtrace {
namespace {

using Points = std::vector<std::pair<double, double>>;

struct Box {
    double x, y, width, height;
    std::vector<const char*> words;
};
struct Name {
    double x, y;
    const char* anchor;
    const char* words;
};
struct Spot {
    double x, y;
    bool label_right;
};
/// One way to lay the chain out.
struct Plan {
    svg::Frame frame;
    double list_top;
    std::size_t list_columns;
    Box battery, source, amplifier, speakers, laptop;
    Points body, feed, supply, lead, source_ground, amplifier_ground, antenna, speaker_lead, probe;
    std::vector<Name> names;
    std::array<Spot, kEntryWays> spots;  ///< in the order of EntryWay
};

const Plan& wide_plan() {
    static const Plan plan = {{900, 388, 0, 900, 0, 388, 13},
                              392,
                              2,
                              {250, 16, 180, 50, {"battery, alternator"}},
                              {76, 172, 150, 116, {"source"}},
                              {570, 172, 140, 116, {"amplifier"}},
                              {806, 196, 78, 68, {"speakers"}},
                              {690, 16, 190, 66, {"laptop and", "interface"}},
                              {{20, 350}, {880, 350}},
                              {{340, 66}, {340, 132}, {640, 132}, {640, 172}},
                              {{250, 41}, {150, 41}, {150, 172}},
                              {{226, 226}, {570, 226}},
                              {{110, 288}, {110, 350}},
                              {{640, 288}, {640, 350}},
                              {{36, 40}, {36, 226}, {76, 226}},
                              {{710, 230}, {806, 230}},
                              {{520, 226}, {520, 49}, {690, 49}},
                              {{28, 372, "start", "vehicle body"},
                               {350, 124, "start", "amplifier's feed"},
                               {258, 218, "start", "signal lead"},
                               {46, 40, "start", "antenna"}},
                              {{{290, 350, true},
                                {380, 290, true},
                                {360, 226, true},
                                {440, 179, true},
                                {150, 108, true},
                                {140, 240, true},
                                {226, 256, true},
                                {548, 252, false},
                                {36, 150, true},
                                {640, 242, true},
                                {758, 230, true},
                                {600, 49, true}}}};
    return plan;
}

const Plan& narrow_plan() {
    static const Plan plan = {
        {372, 596, 0, 372, 0, 596, 12},
        600,
        1,
        {206, 14, 154, 44, {"battery, alternator"}},
        {104, 130, 150, 90, {"source"}},
        {104, 412, 150, 84, {"amplifier"}},
        {129, 546, 100, 40, {"speakers"}},
        {262, 530, 100, 56, {"laptop and", "interface"}},
        {{30, 118}, {30, 588}},
        {{330, 58}, {330, 436}, {254, 436}},
        {{230, 58}, {230, 130}},
        {{180, 220}, {180, 412}},
        {{104, 190}, {30, 190}},
        {{104, 470}, {30, 470}},
        {{130, 22}, {130, 130}},
        {{180, 496}, {180, 546}},
        {{180, 392}, {296, 392}, {296, 530}},
        {{8, 110, "start", "vehicle body"}, {324, 250, "end", "feed"}, {170, 262, "end", "signal lead"}, {140, 30, "start", "antenna"}},
        {{{30, 330, true},
          {98, 318, true},
          {180, 300, true},
          {256, 330, true},
          {230, 94, true},
          {140, 186, true},
          {180, 224, true},
          {180, 360, true},
          {130, 76, true},
          {160, 462, true},
          {180, 520, true},
          {296, 476, true}}}};
    return plan;
}

/// What a way runs through.
std::vector<Points> run_of(const Plan& plan, EntryWay way) {
    switch (way) {
        case EntryWay::ground_loop:
        case EntryWay::pickup_loop: {
            const auto& from = plan.source_ground.back();
            const auto& to = plan.amplifier_ground.back();
            return {plan.source_ground, plan.amplifier_ground, {from, to}, plan.lead};
        }
        case EntryWay::pickup_lead:
        case EntryWay::contact:
            return {plan.lead};
        case EntryWay::pickup_capacitive:
            return {plan.lead, plan.feed};
        case EntryWay::source_supply:
            return {plan.supply};
        case EntryWay::antenna_lead:
            return {plan.antenna};
        case EntryWay::speaker_side:
            return {plan.speaker_lead};
        case EntryWay::measuring_setup:
            return {plan.probe};
        case EntryWay::source_internal:
        case EntryWay::source_shield_open:
        case EntryWay::amplifier_internal:
            break;
    }
    return {};
}

std::string box(const Box& one, double font, bool bold) {
    std::string out = fmt::format("<rect class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" rx=\"5\"/>",
                                  bold ? "box bold" : "box", one.x, one.y, one.width, one.height);
    double y = one.y + font + 7;
    for (const char* words : one.words) {
        out += svg::text(one.x + one.width / 2, y, "middle", words, "label");
        y += font + 4;
    }
    return out;
}

std::string letter_of(std::size_t i) { return std::string(1, static_cast<char>('A' + i % 26)); }
std::string percent(double probability) { return fmt::format("{:.0f} %", 100.0 * probability); }
/// Area follows the chance, over what a letter needs.
double radius_of(double probability) { return std::sqrt(90.0 + 560.0 * std::clamp(probability, 0.0, 1.0)); }

std::string drawing(const Plan& plan, const std::vector<WayChance>& ways) {
    const auto leads = [&](EntryWay way) { return !ways.empty() && ways.front().way == way; };
    std::string out = svg::trace(plan.body, "body");
    for (const Points* one : {&plan.source_ground, &plan.amplifier_ground, &plan.antenna, &plan.supply, &plan.feed, &plan.speaker_lead})
        out += svg::trace(*one, "wire");
    out += svg::trace(plan.probe, "gap") + svg::trace(plan.probe, "wire probe") + svg::trace(plan.lead, "shield") + svg::trace(plan.lead, "wire");
    if (!ways.empty())
        for (const Points& one : run_of(plan, ways.front().way)) out += svg::trace(one, "wire bold");
    const auto& mast = plan.antenna.front();
    for (const double side : {-1.0, 1.0}) out += svg::line(mast.first, mast.second + 10, mast.first + 9 * side, mast.second - 4, "wire");
    const double font = plan.frame.font;
    out += box(plan.battery, font, false) + box(plan.source, font, leads(EntryWay::source_internal) || leads(EntryWay::source_shield_open));
    out += box(plan.amplifier, font, leads(EntryWay::amplifier_internal)) + box(plan.speakers, font, false) + box(plan.laptop, font, false);
    out += "\n";
    for (const Name& one : plan.names) out += svg::text(one.x, one.y, one.anchor, one.words, "tick over");
    return out + "\n";
}

/// The lettered list below the drawing, in columns: its SVG, and where it ends.
std::pair<std::string, double> list(const Plan& plan, const std::vector<WayChance>& ways) {
    const double font = plan.frame.font, line_px = font + 4, margin = plan.list_columns > 1 ? 28 : 10;
    const double column_px = (plan.frame.width - 2 * margin) / static_cast<double>(plan.list_columns);
    const auto columns = static_cast<std::size_t>((column_px - 2 * font - 10) / text_width_px(1, font));
    const std::size_t rows = (ways.size() + plan.list_columns - 1) / plan.list_columns;
    std::string out;
    double y = plan.list_top, end = y;
    for (std::size_t i = 0; i < ways.size(); ++i) {
        if (i % rows == 0) y = plan.list_top;
        const std::size_t column = i / rows;
        const double x = margin + static_cast<double>(column) * column_px;
        const char* style = i == 0 ? "label" : "words";
        out += svg::text(x, y + line_px, "start", letter_of(i), "label");
        for (const std::string& words : wrap_text(fmt::format("{}: {}", plain_name(ways[i].way), percent(ways[i].probability)), columns))
            out += svg::text(x + 1.6 * font, y += line_px, "start", words, style);
        y += 4;
        end = std::max(end, y);
    }
    return {out, end};
}

}  // namespace

std::vector<WayChance> ways_in(const NoiseAnalysis& analysis, const std::string& source_id, double least) {
    std::array<double, kEntryWays> chances{};
    for (const EntryPath& set : analysis.entry_paths) {
        if (set.source_id != source_id || !std::isfinite(set.probability)) continue;
        for (std::size_t w = 0; w < kEntryWays; ++w) {
            const auto way = static_cast<EntryWay>(w);
            if (std::find(set.paths.begin(), set.paths.end(), path_of(way)) == set.paths.end()) continue;
            const auto mechanism = mechanism_of(way);
            if (mechanism && set.mechanism.value_or("lead") != *mechanism) continue;
            chances[w] += set.probability;
        }
    }
    std::vector<WayChance> out;
    for (std::size_t w = 0; w < kEntryWays; ++w)
        if (chances[w] >= least && chances[w] > 0.0) out.push_back({static_cast<EntryWay>(w), std::min(1.0, chances[w])});
    std::stable_sort(out.begin(), out.end(), [](const WayChance& a, const WayChance& b) { return a.probability > b.probability; });
    return out;
}

std::string short_name(EntryWay way) {
    constexpr std::array<const char*, kEntryWays> words = {"ground loop",     "loop pick-up",  "lead pick-up",    "capacitive pick-up",
                                                           "source's supply", "source itself", "shell link open", "bad contact",
                                                           "antenna lead",    "amplifier",     "speaker leads",   "measuring set-up"};
    return words[static_cast<std::size_t>(way)];
}

std::string short_name(const std::string& plain) {
    for (std::size_t w = 0; w < kEntryWays; ++w)
        if (plain == plain_name(static_cast<EntryWay>(w))) return short_name(static_cast<EntryWay>(w));
    const auto lines = wrap_text(clean_text(plain), 20);
    return lines.empty() ? "" : lines.front();
}

std::string chain_svg(const std::vector<WayChance>& ways, PictureSize size, const std::string& id, const std::string& title) {
    const Plan& plan = size == PictureSize::wide ? wide_plan() : narrow_plan();
    svg::Frame frame = plan.frame;
    const double font = frame.font;
    const auto [lettered, end] = list(plan, ways);
    frame.height = end + 8;
    std::string told = "Source, signal lead, amplifier and speakers, with supply, vehicle body and measuring set-up.";
    for (const std::string& one : chain_words(ways)) told += " " + one;
    std::string out = svg::open(frame, id, title, told) + drawing(plan, ways);
    for (std::size_t i = ways.size(); i-- > 0;) {  // the likeliest on top
        const Spot& spot = plan.spots[static_cast<std::size_t>(ways[i].way)];
        const double r = radius_of(ways[i].probability);
        out += fmt::format("<circle class=\"{}\" data-way=\"{}\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\"/>", i == 0 ? "entry first" : "entry",
                           static_cast<std::size_t>(ways[i].way), spot.x, spot.y, r);
        out += svg::text(spot.x, spot.y + 0.35 * font, "middle", letter_of(i), "letter");
        const std::string words = percent(ways[i].probability);
        const double width = text_width_px(display_width(words), font), x = spot.label_right ? spot.x + r + 6 : spot.x - r - 6 - width;
        out += fmt::format("<rect class=\"back\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>", x - 6, spot.y - 0.6 * font,
                           width + 10, 1.2 * font);
        out += svg::text(x + width / 2, spot.y + 0.35 * font, "middle", words, "label");
        out += "\n";
    }
    return out + lettered + "\n" + svg::close();
}

std::vector<std::string> chain_words(const std::vector<WayChance>& ways) {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < ways.size(); ++i)
        out.push_back(fmt::format("{}: {}, {}.", letter_of(i), plain_name(ways[i].way), percent(ways[i].probability)));
    return out;
}

}  // namespace hushtrace
