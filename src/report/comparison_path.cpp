#include <fmt/format.h>

#include "comparison_parts.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace::comparison {
namespace {

const RecordedPath* path_in(const RecordedSystem& record, const TakeGroup& group, Channel channel) {
    for (const RecordedPath& one : record.paths)
        if (one.take == group.first().file && one.channel == channel) return &one;
    return nullptr;
}

struct PathFigure {
    const char *key = nullptr, *name = nullptr, *unit = nullptr;
    Better better = Better::neither;
    Words words;
};
constexpr PathFigure kFigures[] = {{"delay_ms", "Delay against the first channel", "ms", Better::neither, {"earlier", "later"}},
                                   {"thd_percent", "THD of the path", "%", Better::lower, {}},
                                   {"crosstalk_db", "Crosstalk", "dB", Better::lower, {}},
                                   {"crosstalk_10khz_db", "Crosstalk at 10 kHz", "dB", Better::lower, {}}};

// IEC 61260-1: exact mid-frequencies to base ten, and the names that they go by
constexpr double kNominal_hz[] = {20,  25,   31.5, 40,   50,   63,   80,   100,  125,  160,  200,  250,   315,   400,   500,  630,
                                  800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000};

/// Mean of a response's points within a third of an octave [dB, against the channel's own level].
struct Third {
    double nominal_hz = 0;
    ComparedFigure level;
};
std::vector<Third> thirds_of(const RecordedPath& path) {
    std::vector<Third> out;
    const auto own = path.figures.find("gain_db");
    const double level_db = own == path.figures.end() ? 0.0 : own->second.value;
    for (int n = 0; n < 31; ++n) {
        Third third;
        third.nominal_hz = kNominal_hz[n];
        const double mid_hz = 1000 * std::pow(10.0, 0.1 * (n - 17));
        double sum = 0, square = 0;
        int points = 0;
        for (const auto& point : path.response) {
            const bool inside = point.frequency_hz >= mid_hz * std::pow(10.0, -0.05) && point.frequency_hz < mid_hz * std::pow(10.0, 0.05);
            if (!inside || point.magnitude_db.limited_by == LimitedBy::noise) continue;
            sum += point.magnitude_db.value - level_db;
            square += point.magnitude_db.sd * point.magnitude_db.sd;
            ++points;
        }
        if (points == 0) continue;
        third.level.value = sum / points;
        third.level.sd = std::sqrt(square / points);  // neighbours go together: no division by their number
        out.push_back(third);
    }
    return out;
}

std::string round_hz(double hz) { return hz < 1000 ? fmt::format("{:g} Hz", hz) : fmt::format("{:g} kHz", hz / 1000); }

/// "40 Hz to 80 Hz (-3.0 dB)": bands side by side that moved the same way are one stretch.
std::string stretches(const std::vector<ComparedPoint>& points) {
    std::string out;
    for (std::size_t i = 0; i < points.size();) {
        if (!points[i].changed) {
            ++i;
            continue;
        }
        const auto moved = [&](std::size_t k) { return points[k].after->value - points[k].before->value; };
        std::size_t end = i;
        double most = moved(i);
        while (end + 1 < points.size() && points[end + 1].changed && (moved(end + 1) > 0) == (most > 0)) {
            ++end;
            if (std::abs(moved(end)) > std::abs(most)) most = moved(end);
        }
        out +=
            fmt::format("{}{}{} ({:+.1f} dB)", out.empty() ? "" : ", ", round_hz(points[i].x), end > i ? " to " + round_hz(points[end].x) : "", most);
        i = end + 1;
    }
    return out;
}

void compare_response(Workbench& bench, const GroupPair& pair, const RecordedPath& old, const RecordedPath& now) {
    const std::vector<Third> a = thirds_of(old), b = thirds_of(now);
    ComparedCurve curve;
    curve.kind = ComparedCurve::Kind::response;
    curve.title = "Response, " + where_of(now.channel, pair);
    curve.unit = "dB";
    std::vector<Trial> trials;
    std::vector<double> centres;
    for (const Third& x : a)
        for (const Third& y : b)
            if (x.nominal_hz == y.nominal_hz) {
                Trial trial;
                trial.before = x.level;
                trial.after = y.level;
                trial.repeatability = bench.rules.response_db;
                trial.better = Better::neither;
                trials.push_back(trial);
                centres.push_back(x.nominal_hz);
            }
    if (trials.empty()) return;
    for (std::size_t i = 0; i < trials.size(); ++i) {
        trials[i].outside = 0.05 / static_cast<double>(trials.size());  // all bands at once (Bonferroni)
        const bool changed = judge(trials[i]).verdict == ChangeVerdict::changed;
        curve.points.push_back({centres[i], trials[i].before, trials[i].after, changed});
    }
    const std::string where_changed = stretches(curve.points);
    ComparedItem item = item_of("path", "Response", pair, now.channel);
    item.verdict = where_changed.empty() ? ChangeVerdict::unchanged : ChangeVerdict::changed;
    item.text = fmt::format("Response ({}): {}.", item.where,
                            where_changed.empty() ? fmt::format("the same in all {} third-octaves that both records tell", trials.size())
                                                  : "another at " + where_changed);
    curve.text = where_changed.empty() ? "The same in all bands, as far as it repeats." : "Changed beyond what repeats: " + where_changed + ".";
    bench.out.items.push_back(std::move(item));
    bench.out.curves.push_back(std::move(curve));
}

void compare_level(Workbench& bench, const GroupPair& pair, const RecordedPath& old, const RecordedPath& now) {
    const Basis basis = basis_of(bench, pair, now.channel);
    if (!basis.refused.empty()) {
        bench.out.items.push_back(refused_item("path", "Level of the path", where_of(now.channel, pair), basis.refused));
        return;
    }
    const auto a = group_level(
        pair.before, [&](const std::string& take) { return take == old.take ? &old.level : nullptr; }, basis, true);
    const auto b = group_level(
        pair.after, [&](const std::string& take) { return take == now.take ? &now.level : nullptr; }, basis, false);
    if (!a || !b) return;
    ComparedItem item = item_of("path", "Level of the path", pair, now.channel);
    item.unit = basis.unit();
    Trial trial;
    trial.before = a->figure;
    trial.after = b->figure;
    trial.common_sd = basis.common_sd;
    trial.repeatability = bench.rules.level_db;
    trial.better = Better::neither;
    settle(item, trial, judge(trial));
    bench.out.items.push_back(std::move(item));
}

void compare_polarity(Workbench& bench, const GroupPair& pair, const RecordedPath& old, const RecordedPath& now) {
    const auto known = [](const std::string& word) { return !word.empty() && word != "unknown"; };
    if (!known(old.polarity) || !known(now.polarity)) return;
    ComparedItem item = item_of("path", "Polarity", pair, now.channel);
    item.verdict = old.polarity == now.polarity ? ChangeVerdict::unchanged : ChangeVerdict::changed;
    item.text = fmt::format("Polarity ({}): {} then, {} now{}.", item.where, spaced(clean_text(old.polarity)), spaced(clean_text(now.polarity)),
                            old.polarity == now.polarity ? "" : ": plus and minus are swapped somewhere on the way");
    bench.out.items.push_back(std::move(item));
}

}  // namespace

void compare_paths(Workbench& bench) {
    if (!bench.before.has_chain || !bench.after.has_chain) return;
    for (const GroupPair& pair : bench.alike.pairs) {
        if (!pair.after.first().tone) continue;
        for (const Channel channel : common_channels(pair)) {
            const RecordedPath *old = path_in(bench.before, pair.before, channel), *now = path_in(bench.after, pair.after, channel);
            if (!old || !now) continue;
            compare_level(bench, pair, *old, *now);
            compare_response(bench, pair, *old, *now);
            compare_polarity(bench, pair, *old, *now);
            for (const PathFigure& figure : kFigures) {
                const auto a = old->figures.find(figure.key), b = now->figures.find(figure.key);
                if (a == old->figures.end() || b == now->figures.end()) continue;
                const bool percent = std::string_view(figure.unit) == "%";
                const auto compared = [&](const Reading& one) {
                    const bool most = one.limited_by == LimitedBy::noise || one.limited_by == LimitedBy::interface;
                    if (!percent) return ComparedFigure{one.value, one.sd, most};
                    const double value = std::max(one.value, 1e-4);
                    return ComparedFigure{20 * std::log10(value), 8.685889638 * one.sd / value, most};
                };
                ComparedItem item = item_of("path", figure.name, pair, channel);
                item.unit = figure.unit;
                item.difference_unit = percent ? "dB" : figure.unit;
                Trial trial;
                trial.before = compared(a->second);
                trial.after = compared(b->second);
                trial.better = figure.better;
                trial.repeatability = std::string_view(figure.unit) == "ms" ? bench.rules.delay_ms
                                      : percent                             ? bench.rules.thd_db
                                                                            : bench.rules.crosstalk_db;
                const Judged judged = judge(trial);
                if (percent) {  // judged as a level, told in percent
                    Trial told = trial;
                    told.before = {a->second.value, a->second.sd, trial.before.at_most};
                    told.after = {b->second.value, b->second.sd, trial.after.at_most};
                    settle(item, told, judged, figure.words);
                } else {
                    settle(item, trial, judged, figure.words);
                }
                bench.out.items.push_back(std::move(item));
            }
        }
    }
}

}  // namespace hushtrace::comparison
