#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "chain_system_words.hpp"
#include "chain_words.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/report/wording.hpp"
#include "lines.hpp"

namespace hushtrace {
namespace {

constexpr std::array kRows = {25.0, 40.0, 63.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0, 15000.0};
constexpr std::size_t kName = 12, kColumn = 13;

void tell_channel(Lines& lines, const ChainChannel& one, bool first) {
    const std::string name(spaced(to_word(one.channel)));
    if (one.silent) {
        lines.add(name + ": nothing of the tone came in");
        return;
    }
    if (one.quiet_db) {
        lines.add(fmt::format("{}: {:.0f} dB below the {} channel, and not read", name, -one.quiet_db->value, spaced(to_word(one.quiet_against))));
    } else if (one.take.empty()) {
        lines.add(name + ": not played alone or with the others");
    } else {
        const std::string hears = hears_text(one);
        lines.add(fmt::format("{}: polarity {}{}", name, one.polarity, hears.empty() ? "" : ", " + hears));
        if (one.shape) lines.add(shape_text(*one.shape) + (one.volume ? fmt::format(" (volume {:g})", *one.volume) : ""), 2);
        if (const std::string turned = all_pass_text(one); !turned.empty()) lines.add(turned, 2);
        if (!first && one.delay_ms)
            lines.add("later than the first channel by " + with_sd(one.delay_ms->value, one.delay_ms->sd, "ms"), 2);
        if (one.gain_db) {
            std::string level = fmt::format("level {} round {} (captured against played)", level_of(one.gain_db),
                                            frequency_text(one.gain_hz));
            if (one.level_dbv) level += fmt::format(", there {}", level_text(std::nullopt, one.level_dbv->value)) +
                                        spread_text(one.level_dbv->sd);
            lines.add(level, 2);
        }
        if (!first && one.balance_db)
            lines.add(fmt::format("against the first channel {} round {}", level_of(one.balance_db), frequency_text(one.balance_hz)), 2);
        lines.add("THD " + thd_of(one), 2);
    }
    if (one.crosstalk_db) lines.add("of the other side's tone, at 1 kHz: " + level_of(one.crosstalk_db), 2);
    if (one.crosstalk_10khz_db) lines.add("of the other side's tone, at 10 kHz: " + level_of(one.crosstalk_10khz_db), 2);
}

void tell_responses(Lines& lines, const std::vector<ChainChannel>& channels) {
    std::vector<const ChainChannel*> shown;
    for (const ChainChannel& one : channels)
        if (!one.response.empty() && one.gain_db) shown.push_back(&one);
    shown.resize(std::min<std::size_t>(shown.size(), (Lines::kColumns - kName) / kColumn));
    if (shown.empty()) return;
    lines.title("Response, against the level above [dB]");
    std::string head = padded("", kName);
    for (const ChainChannel* one : shown) head += padded(spaced(to_word(one->channel)), kColumn);
    lines.row(head, 0);
    for (const double hz : kRows) {
        std::string row = padded(frequency_text(hz), kName);
        bool any = false;
        for (const ChainChannel* one : shown) {
            const auto point = point_at(one->response, hz);
            std::string cell = "-";
            if (point) {
                const Reading magnitude = point->magnitude_db();
                any = true;
                cell = magnitude.limited_by == LimitedBy::noise
                           ? "in noise"
                           : fmt::format("{:+.{}f}", magnitude.value - one->gain_db->value, magnitude.sd < 0.05 ? 2 : 1);
            }
            row += padded(cell, kColumn);
        }
        if (any) lines.row(row, 0);
    }
}

void tell_system(Lines& lines, const ChainAnalysis& analysis) {
    const std::vector<std::string> sentences = system_sentences(analysis);
    if (sentences.empty()) return;
    lines.title("What the source does");
    for (const std::string& one : sentences) lines.add(one, 2, "- ");
}

void tell_distortion(Lines& lines, const ChainAnalysis& analysis) {
    if (!has_distortion_table(analysis)) return;
    lines.title("Distortion and noise");
    for (const ChainChannel& one : analysis.channels) {
        if (one.silent) continue;
        lines.add(std::string(spaced(to_word(one.channel))));
        lines.add("THD of a tone near -20 dBFS: " + thd_of(one.minus_20), 2);
        lines.add(ceiling_text(analysis) + ": " + thd_of(one.at_ceiling), 2);
        lines.add("noise, A-weighted: " + noise_of(one.noise ? &*one.noise : nullptr), 2);
    }
}

void tell_limits(Lines& lines, const std::vector<LimitLine>& limits) {
    if (limits.empty()) return;
    lines.title("Against the limits");
    for (const LimitLine& one : limits)
        lines.add(fmt::format("{}: {}; {}", limit_name(one), limit_found(one), limit_asked(one)), 0, padded(spaced(one.verdict), 14));
}

void tell_intermodulation(Lines& lines, const std::vector<ChainIntermodulation>& all) {
    if (all.empty()) return;
    lines.title("Intermodulation");
    for (const ChainIntermodulation& one : all) {
        const Intermodulation& read = one.reading;
        const bool modulation = one.method == TwoToneMethod::modulation;
        lines.add(fmt::format("{}: {} and {}, {}: {}", spaced(to_word(one.channel)), frequency_text(read.low.frequency_hz),
                              frequency_text(read.high.frequency_hz),
                              modulation ? "low tone on high tone" : "difference frequencies", ratio_text(read.total_ratio)));
        lines.add(fmt::format("second order {}, third order {}; {}", ratio_text(read.second_order_ratio),
                              ratio_text(read.third_order_ratio),
                              modulation ? "against the high tone" : "against both tones' sum"),
                  2);
        lines.add(fmt::format("tones at {} and {}; {}", level_of_tone(one, read.low),
                              level_of_tone(one, read.high), one.take), 2);
        if (read.products_missing > 0)
            lines.add(fmt::format("{} products lie above the capture's band and are missing", read.products_missing), 2);
    }
}

}  // namespace

std::string chain_text(const OpenedJob& opened, const ChainAnalysis& analysis) {
    Lines lines;
    lines.title(fmt::format("Chain: {} ({} take{})", opened.job.title.empty() ? "untitled job" : opened.job.title,
                            analysis.takes.size(), analysis.takes.size() == 1 ? "" : "s"));
    for (const ChainChannel& one : analysis.channels) tell_channel(lines, one, &one == &analysis.channels.front());
    tell_system(lines, analysis);
    tell_limits(lines, analysis.limits);
    tell_distortion(lines, analysis);
    tell_responses(lines, analysis.channels);
    tell_intermodulation(lines, analysis.intermodulation);
    tell_warnings(lines, all_warnings(opened.warnings, analysis.warnings));
    return lines.text();
}

}  // namespace hushtrace
