#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "hushtrace/report/entry_picture.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

constexpr double kStandsOut_db = 8.0;                   // over the median round it, a line is a line
constexpr double kRound = 0.10;                         // how far the median reaches, either way
constexpr double kFollows = 0.02, kHoldsStill = 0.002;  // how far a line may lie from where it is expected
constexpr double kSameSpeed = 0.2;                      // ln: further off, the marked line is another one

const TakePicture* picture_of(const NoiseAnalysis& analysis, const std::string& take, Channel channel) {
    for (const TakePicture& one : analysis.pictures)
        if (one.take == take && one.channel == channel && has_spectrum(one)) return &one;
    return nullptr;
}

/// Hookups of what was tried, without "normal", which says nothing beside others; in order.
std::vector<Hookup> hookups_of(const Conditions& c) {
    std::vector<Hookup> out;
    for (const Hookup one : c.hookup)
        if (one != Hookup::normal) out.push_back(one);
    std::sort(out.begin(), out.end());
    return out;
}

bool alike(const Conditions& a, const Conditions& b) {
    std::vector<std::string> loads_a = a.loads, loads_b = b.loads;
    std::sort(loads_a.begin(), loads_a.end());
    std::sort(loads_b.begin(), loads_b.end());
    const bool speed = !a.rpm || !b.rpm || std::abs(*a.rpm - *b.rpm) <= 0.15 * std::max(*a.rpm, *b.rpm);
    return a.point == b.point && a.engine == b.engine && speed && a.source == b.source && a.input == b.input && a.volume == b.volume &&
           hookups_of(a) == hookups_of(b) && loads_a == loads_b && a.attached == b.attached && a.laptop == b.laptop;
}

std::optional<BeforeAfter> pair_of(const NoiseAnalysis& analysis, const NoiseSource& source, const std::string& before, const std::string& after,
                                   Channel channel) {
    BeforeAfter out;
    out.source = &source;
    out.before = picture_of(analysis, before, channel);
    out.after = picture_of(analysis, after, channel);
    if (!out.before || !out.after || out.before == out.after) return std::nullopt;
    return out;
}

/// The test that changed a source most, of those that are read from two takes.
std::optional<BeforeAfter> most_telling(const NoiseAnalysis& analysis, const NoiseSource& source, Channel channel) {
    std::optional<BeforeAfter> best;
    double most = -1;
    for (const TestMade& test : analysis.tests_made) {
        const Evidence& shown = test.outcome;
        if (test.source_id != source.id || shown.takes.size() < 2 || shown.unit != "dB" || !(std::abs(shown.value) > most)) continue;
        auto pair = pair_of(analysis, source, shown.takes[0], shown.takes[1], channel);
        if (!pair) continue;
        most = std::abs(shown.value);
        pair->what = test.name;
        pair->said = shown.text;
        pair->told_db = shown.value;
        best = std::move(pair);
    }
    return best;
}

void add_mended(std::vector<BeforeAfter>& out, const Job& job, const NoiseAnalysis& analysis, const NoiseSource& source, Channel channel) {
    const auto add = [&](std::optional<BeforeAfter> pair, const std::string& what, const std::string& said, std::optional<double> told_db) {
        if (!pair) return;
        pair->told_db = told_db;
        pair->what = what;
        pair->mended = true;
        pair->said = said;
        out.push_back(std::move(*pair));
    };
    for (const ChangeMade& one : analysis.changes)
        if (one.source_id == source.id)
            add(pair_of(analysis, source, one.before, one.after, one.channel), one.change, one.text, one.measured_db.value);
    for (std::size_t t = 1; t < job.takes.size(); ++t) {
        const Take& after = job.takes[t];
        if (!after.after_change || after.tone) continue;
        const auto told = [&](const ChangeMade& one) { return one.source_id == source.id && one.after == after.file; };
        if (std::any_of(analysis.changes.begin(), analysis.changes.end(), told)) continue;
        for (std::size_t b = t; b-- > 0;) {
            const Take& before = job.takes[b];
            if (before.after_change == after.after_change || before.tone || !alike(before.conditions, after.conditions)) continue;
            add(pair_of(analysis, source, before.file, after.file, channel), *after.after_change, "", std::nullopt);
            break;
        }
    }
}

double median_round(const TakePicture& picture, double frequency_hz) {
    const double last = static_cast<double>(picture.line_dbfs.size() - 1);
    const auto from = static_cast<std::size_t>(std::clamp(frequency_hz * (1.0 - kRound) / picture.bin_hz, 1.0, last));
    const auto to = static_cast<std::size_t>(std::clamp(frequency_hz * (1.0 + kRound) / picture.bin_hz + 1.0, 1.0, last));
    std::vector<float> levels;
    for (std::size_t k = from; k <= to; ++k)
        if (is_sound(picture.line_dbfs[k])) levels.push_back(picture.line_dbfs[k]);
    if (levels.empty()) return kDigitalSilence_dbfs;
    std::nth_element(levels.begin(), levels.begin() + static_cast<std::ptrdiff_t>(levels.size() / 2), levels.end());
    return levels[levels.size() / 2];
}

struct Peak {
    double frequency_hz = 0, level_dbfs = kDigitalSilence_dbfs;
    bool stands_out = false;
};
Peak peak_near(const TakePicture& picture, double frequency_hz, double reach) {
    const double reach_hz = std::max(3.0 * picture.bin_hz, reach * frequency_hz), last = static_cast<double>(picture.line_dbfs.size() - 1);
    const auto from = static_cast<std::size_t>(std::clamp((frequency_hz - reach_hz) / picture.bin_hz, 1.0, last));
    const auto to = static_cast<std::size_t>(std::clamp((frequency_hz + reach_hz) / picture.bin_hz, 1.0, last));
    Peak out;
    out.frequency_hz = frequency_hz;
    for (std::size_t k = from; k <= to; ++k)
        if (is_sound(picture.line_dbfs[k]) && picture.line_dbfs[k] > out.level_dbfs) {
            out.level_dbfs = picture.line_dbfs[k];
            out.frequency_hz = static_cast<double>(k) * picture.bin_hz;
        }
    out.stands_out = out.level_dbfs > median_round(picture, frequency_hz) + kStandsOut_db;
    return out;
}

/// Frequencies in this take over those of the source's loudest: the engine may have turned a little faster.
std::optional<double> speed_ratio(const NoiseSource& source, const TakePicture& picture) {
    for (const MarkedLine& line : picture.lines) {
        if (line.source_id != source.id || !(line.frequency_hz > 0.0)) continue;
        std::optional<double> best;
        const auto ask = [&](double at_hz) {
            if (!(at_hz > 0.0)) return;
            const double ratio = line.frequency_hz / at_hz;
            if (std::abs(std::log(ratio)) < kSameSpeed && (!best || std::abs(std::log(ratio)) < std::abs(std::log(*best)))) best = ratio;
        };
        for (const Harmonic& one : source.harmonics) ask(one.frequency_hz);
        if (source.frequency_hz) ask(*source.frequency_hz);
        return best;  // its first line leads; the further ones follow that one
    }
    return std::nullopt;
}

bool wanders(NoiseKind kind) { return kind == NoiseKind::alternator_whine || kind == NoiseKind::motor_whine; }

}  // namespace

std::vector<BeforeAfter> choose_before_after(const Job& job, const NoiseAnalysis& analysis, std::size_t most) {
    std::vector<BeforeAfter> mended, tests;
    for (const NoiseSource& source : analysis.noise_sources) {
        const LevelInTake* loudest = loudest_level(source);
        if (!loudest) continue;
        add_mended(mended, job, analysis, source, loudest->channel);
        if (auto pair = most_telling(analysis, source, loudest->channel)) tests.push_back(std::move(*pair));
    }
    // two takes are drawn once, for the loudest source; what was mended before what was tried
    std::vector<BeforeAfter> out;
    for (auto* list : {&mended, &tests})
        for (BeforeAfter& one : *list) {
            const bool drawn =
                std::any_of(out.begin(), out.end(), [&](const BeforeAfter& other) { return other.before == one.before && other.after == one.after; });
            if (!drawn && out.size() < most) out.push_back(std::move(one));
        }
    return out;
}

std::vector<LineChange> line_changes(const BeforeAfter& one) {
    const NoiseSource& source = *one.source;
    std::vector<double> lines;
    for (const Harmonic& harmonic : source.harmonics) lines.push_back(harmonic.frequency_hz);
    if (lines.empty() && source.frequency_hz && !source.band_hz) lines.push_back(*source.frequency_hz);
    const bool clicks = source.kind == NoiseKind::ignition_tick || source.kind == NoiseKind::periodic_tick || source.kind == NoiseKind::crackle;
    if (clicks || source.kind == NoiseKind::hiss) lines.clear();
    std::sort(lines.begin(), lines.end());
    const double before = speed_ratio(source, *one.before).value_or(1.0), after = speed_ratio(source, *one.after).value_or(before);
    const double reach = wanders(source.kind) ? kFollows : kHoldsStill;
    const double top_hz = static_cast<double>(std::min(one.before->line_dbfs.size(), one.after->line_dbfs.size()) - 1) *
                          std::min(one.before->bin_hz, one.after->bin_hz);
    std::vector<LineChange> out;
    for (const double hz : lines) {
        if (!(hz * std::min(before, after) >= 20.0 && hz * std::max(before, after) <= std::min(20000.0, top_hz))) continue;
        const Peak was = peak_near(*one.before, hz * before, reach), is = peak_near(*one.after, hz * after, reach);
        if (!was.stands_out || (!out.empty() && was.frequency_hz == out.back().before_hz)) continue;
        out.push_back({was.frequency_hz, is.frequency_hz, was.level_dbfs, is.level_dbfs, !is.stands_out && is.level_dbfs < was.level_dbfs});
    }
    return out;
}

bool contradicts(const BeforeAfter& one) {
    constexpr double apart_db = 10.0, gone_db = -18.0;
    const auto lines = line_changes(one);
    const auto strongest =
        std::max_element(lines.begin(), lines.end(), [](const LineChange& a, const LineChange& b) { return a.before_dbfs < b.before_dbfs; });
    if (!one.told_db || strongest == lines.end()) return false;
    const double seen = strongest->change_db(), told = *one.told_db;
    if (seen > told) return seen > told + apart_db && !strongest->at_least;
    return seen < told - apart_db && told > gone_db;
}

std::vector<std::string> before_after_words(const BeforeAfter& one) {
    std::vector<std::string> out;
    if (!one.said.empty()) out.push_back(clean_text(one.said));
    for (const LineChange& line : line_changes(one))
        out.push_back(fmt::format("{}: {}{}.", frequency_text(line.before_hz), change_text(line.change_db(), std::nullopt),
                                  line.at_least ? " or more: it doesn't stand out any more" : ""));
    if (contradicts(one)) out.emplace_back("The strongest line doesn't show that change: look twice.");
    return out;
}

}  // namespace hushtrace
