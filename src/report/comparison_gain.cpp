#include <fmt/format.h>

#include "comparison_parts.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace::comparison {
namespace {

constexpr double kDecibel = 8.685889638;  // of a natural logarithm

const RecordedCurve* curve_in(const RecordedSystem& record, const TakeGroup& group, Channel channel, double tone_hz) {
    for (const Take* take : group.takes)
        for (const RecordedCurve& one : record.curves)
            if (one.take == take->file && one.channel == channel && std::abs(one.tone_hz - tone_hz) < 1e-3 * tone_hz) return &one;
    return nullptr;
}

/// Volts as a level; the scale's share of the sd is taken off.
std::optional<RecordedLevel> as_level(const std::optional<Reading>& dbfs, const std::optional<Reading>& volts) {
    RecordedLevel out;
    out.dbfs = dbfs;
    if (volts && volts->value > 0) out.dbv = Reading{20 * std::log10(volts->value), kDecibel * volts->sd / volts->value, volts->limited_by};
    if (!out.dbfs && !out.dbv) return std::nullopt;
    return out;
}

class CurveComparing {
public:
    CurveComparing(Workbench& bench, const GroupPair& pair, const RecordedCurve& old, const RecordedCurve& now)
        : bench_(bench),
          pair_(pair),
          old_(old),
          now_(now),
          where_(fmt::format("{}, {:g} Hz, {}", spaced(to_word(now.channel)), now.tone_hz, pair.briefly)) {}

    void run() {
        ceiling();
        const Basis basis = basis_of(bench_, pair_, now_.channel);
        if (!basis.refused.empty()) {
            bench_.out.items.push_back(refused_item("ceiling", "Levels of the tone", where_, basis.refused));
        } else {
            knee(basis);
            level(basis);
        }
        distortion();
    }

private:
    ComparedItem item(const char* area, const char* what) const {
        ComparedItem out = item_of(area, what, pair_, now_.channel);
        out.where = where_;
        out.take_before = old_.take;
        out.take_after = now_.take;
        return out;
    }

    /// The distance to the next step above a volume, on that curve.
    static double step_at(const RecordedCurve& curve, double volume) {
        double least = 1e300;
        for (const RecordedStep& one : curve.steps)
            if (one.volume && *one.volume > volume) least = std::min(least, *one.volume - volume);
        if (least > 1e299)
            for (const RecordedStep& one : curve.steps)
                if (one.volume && *one.volume < volume) least = std::min(least, volume - *one.volume);
        return least > 1e299 ? 1.0 : least;
    }

    void ceiling() {
        const char* what = "Ceiling (highest clean volume)";
        if (bench_.before.limit_thd_percent && bench_.after.limit_thd_percent &&
            std::abs(*bench_.before.limit_thd_percent - *bench_.after.limit_thd_percent) > 1e-9) {
            bench_.out.items.push_back(
                refused_item("ceiling", what, where_,
                             fmt::format("it was judged at {:g} % THD then and at {:g} % now; set limits.ceiling_thd_percent alike",
                                         *bench_.before.limit_thd_percent, *bench_.after.limit_thd_percent)));
            return;
        }
        if (!old_.ceiling_volume || !now_.ceiling_volume) {
            without_ceiling(what);
            return;
        }
        ComparedItem one = item("ceiling", what);
        one.unit = one.difference_unit = "volume";
        Trial trial;
        trial.before.value = *old_.ceiling_volume;
        trial.after.value = *now_.ceiling_volume;
        trial.repeatability = std::max(step_at(old_, *old_.ceiling_volume), step_at(now_, *now_.ceiling_volume));
        trial.better = Better::higher;
        settle(one, trial, judge(trial));
        one.repeatability = "";
        const double moved = *now_.ceiling_volume - *old_.ceiling_volume;
        one.text = fmt::format("{} ({}): volume {:g} then, {:g} now: {}.", what, where_, *old_.ceiling_volume, *now_.ceiling_volume,
                               one.verdict == ChangeVerdict::unchanged
                                   ? std::string("unchanged, to one step")
                                   : fmt::format("it clips {:g} steps of the dial {}", std::abs(moved), moved < 0 ? "earlier" : "later"));
        bench_.out.items.push_back(std::move(one));
    }

    void without_ceiling(const char* what) {
        ComparedItem one = item("ceiling", what);
        const auto words = [](const RecordedCurve& curve) {
            return curve.ceiling_volume
                       ? fmt::format("volume {:g}", *curve.ceiling_volume)
                       : "none (" + (curve.ceiling_reason.empty() ? std::string("no volumes stated") : spaced(clean_text(curve.ceiling_reason))) +
                             ")";
        };
        const auto rank = [](const RecordedCurve& curve) {
            return curve.ceiling_volume ? 1 : curve.ceiling_reason == "always_distorted" ? 0 : curve.ceiling_reason == "never_clips" ? 2 : -1;
        };
        const int then = rank(old_), now = rank(now_);
        if (then >= 0 && now >= 0) one.verdict = then == now ? ChangeVerdict::unchanged : now > then ? ChangeVerdict::better : ChangeVerdict::worse;
        one.text = fmt::format("{} ({}): {} then, {} now{}.", what, where_, words(old_), words(now_),
                               one.verdict == ChangeVerdict::not_comparable ? ": not compared" : "");
        bench_.out.items.push_back(std::move(one));
    }

    void level_trial(ComparedItem one, const Basis& basis, const std::optional<RecordedLevel>& old, const std::optional<RecordedLevel>& now,
                     Better better, Words words) {
        if (!old || !now) return;
        const auto a = group_level(
            pair_.before, [&](const std::string& take) { return take == old_.take ? &*old : nullptr; }, basis, true);
        const auto b = group_level(
            pair_.after, [&](const std::string& take) { return take == now_.take ? &*now : nullptr; }, basis, false);
        if (!a || !b) return;
        Trial trial;
        trial.before = a->figure;
        trial.after = b->figure;
        trial.common_sd = basis.common_sd;
        trial.repeatability = bench_.rules.level_db;
        trial.better = better;
        one.unit = basis.unit();
        settle(one, trial, judge(trial), words);
        bench_.out.items.push_back(std::move(one));
    }

    void knee(const Basis& basis) {
        level_trial(item("ceiling", "Level at which the source clips"), basis, as_level(old_.knee_dbfs, old_.knee_v),
                    as_level(now_.knee_dbfs, now_.knee_v), Better::higher, {});
    }

    /// The same volume's level, as high up as both are clean.
    void level(const Basis& basis) {
        const RecordedStep *old = nullptr, *now = nullptr;
        for (const auto& both : common_steps()) {
            const auto clean = [](const RecordedStep& one) { return one.thd_percent && one.thd_percent->value < 1.0 && !one.overload; };
            if (!clean(*both.first) || !clean(*both.second)) continue;
            if (!now || *both.second->volume > *now->volume) old = both.first, now = both.second;
        }
        if (!now) return;
        ComparedItem one = item("ceiling", "Level of the tone");
        one.where = fmt::format("volume {:g}, {}", *now->volume, where_);
        level_trial(std::move(one), basis, as_level(old->dbfs, old->volts), as_level(now->dbfs, now->volts), Better::neither, {});
    }

    std::vector<std::pair<const RecordedStep*, const RecordedStep*>> common_steps() const {
        std::vector<std::pair<const RecordedStep*, const RecordedStep*>> out;
        for (const RecordedStep& now : now_.steps)
            for (const RecordedStep& old : old_.steps)
                if (now.volume && old.volume && *now.volume == *old.volume) {
                    out.emplace_back(&old, &now);
                    break;
                }
        return out;
    }

    void distortion() {
        ComparedCurve curve;
        curve.kind = ComparedCurve::Kind::distortion;
        curve.title = "THD against volume, " + where_;
        curve.unit = "%";
        ComparedItem one = item("distortion", "THD against volume");
        const auto steps = common_steps();
        std::string higher, lower;
        double most = 0;
        std::size_t judged_steps = 0;
        for (const auto& both : steps)
            if (both.first->thd_percent && both.second->thd_percent && !both.first->overload && !both.second->overload) ++judged_steps;
        for (const auto& both : steps) {
            const auto &old = both.first->thd_percent, &now = both.second->thd_percent;
            if (!old || !now || both.first->overload || both.second->overload) continue;
            const auto as_db = [](const Reading& thd) {
                const double value = std::max(thd.value, 1e-4);
                return ComparedFigure{20 * std::log10(value), kDecibel * thd.sd / value,
                                      thd.limited_by == LimitedBy::noise || thd.limited_by == LimitedBy::interface};
            };
            const auto as_percent = [](const Reading& thd) { return ComparedFigure{thd.value, thd.sd, thd.limited_by == LimitedBy::noise}; };
            Trial trial;
            trial.before = as_db(*old);
            trial.after = as_db(*now);
            trial.repeatability = bench_.rules.thd_db;
            trial.outside = 0.05 / static_cast<double>(judged_steps);  // all volumes are looked at at once (Bonferroni)
            const Judged judged = judge(trial);
            const bool changed = judged.verdict == ChangeVerdict::better || judged.verdict == ChangeVerdict::worse;
            curve.points.push_back({*both.second->volume, as_percent(*old), as_percent(*now), changed});
            if (!changed) continue;
            std::string& list = judged.difference > 0 ? higher : lower;
            list += fmt::format("{}volume {:g} ({} then, {} now)", list.empty() ? "" : ", ", *both.second->volume, distortion_text(old->value),
                                distortion_text(now->value));
            if (std::abs(judged.difference) > std::abs(most)) most = judged.difference;
        }
        if (curve.points.empty()) {
            bench_.out.items.push_back(refused_item("distortion", "THD against volume", where_, "no volume was stepped through in both records"));
            return;
        }
        one.difference_unit = "dB";
        if (!higher.empty() || !lower.empty()) one.difference = most;
        one.verdict = !higher.empty() && !lower.empty() ? ChangeVerdict::changed
                      : !higher.empty()                 ? ChangeVerdict::worse
                      : !lower.empty()                  ? ChangeVerdict::better
                                                        : ChangeVerdict::unchanged;
        std::string said = higher.empty() ? "" : "higher at " + higher;
        if (!lower.empty()) said += (said.empty() ? "" : "; ") + ("lower at " + lower);
        one.text = fmt::format("THD against volume ({}): {}.", where_,
                               said.empty() ? fmt::format("unchanged at all {} volumes that both records have", curve.points.size()) : said);
        curve.text = said.empty() ? "Unchanged at every volume, as far as it repeats." : "Changed beyond what repeats: " + said + ".";
        bench_.out.items.push_back(std::move(one));
        bench_.out.curves.push_back(std::move(curve));
    }

    Workbench& bench_;
    const GroupPair& pair_;
    const RecordedCurve &old_, &now_;
    std::string where_;
};

void compare_balance(Workbench& bench, const GroupPair& pair) {
    for (const RecordedBalance& now : bench.after.balances)
        for (const RecordedBalance& old : bench.before.balances) {
            const auto in = [](const TakeGroup& group, const std::string& file) { return group.first().file == file; };
            if (!in(pair.after, now.take) || !in(pair.before, old.take) || old.first != now.first || old.second != now.second) continue;
            if (std::abs(old.tone_hz - now.tone_hz) > 1e-3 * now.tone_hz || !old.balance_db || !now.balance_db) continue;
            ComparedItem item =
                item_of("balance", fmt::format("Balance of {} against {}", spaced(to_word(now.first)), spaced(to_word(now.second))), pair, now.first);
            item.where = fmt::format("{:g} Hz, {}", now.tone_hz, pair.briefly);
            item.unit = item.difference_unit = "dB";
            Trial trial;
            trial.before.value = *old.balance_db;
            trial.after.value = *now.balance_db;
            trial.repeatability = bench.rules.balance_db;
            trial.better = Better::neither;
            const Judged judged = judge(trial);
            settle(item, trial, judged);
            if (judged.verdict == ChangeVerdict::changed)  // nearer to even is better
                item.verdict = std::abs(*now.balance_db) < std::abs(*old.balance_db) ? ChangeVerdict::better : ChangeVerdict::worse;
            bench.out.items.push_back(std::move(item));
        }
}

void amplifier_item(Workbench& bench, const std::string& what, const char* unit, const std::optional<Reading>& old, const std::optional<Reading>& now,
                    bool volts) {
    if (!old || !now) {
        if (old || now)
            bench.out.items.push_back(refused_item("amplifier", what, "", fmt::format("the {} record doesn't hold it", old ? "later" : "earlier")));
        return;
    }
    ComparedItem item;
    item.area = "amplifier";
    item.what = what;
    item.unit = unit;
    const auto as_db = [volts](const Reading& one) {
        return volts ? ComparedFigure{20 * std::log10(std::max(one.value, 1e-9)), kDecibel * one.sd / std::max(one.value, 1e-9)}
                     : ComparedFigure{one.value, one.sd};
    };
    Trial trial;
    trial.before = as_db(*old);
    trial.after = as_db(*now);
    trial.repeatability = bench.rules.level_db;
    trial.better = Better::neither;
    settle(item, trial, judge(trial));
    if (volts) {
        item.before = ComparedFigure{old->value, old->sd};
        item.after = ComparedFigure{now->value, now->sd};
        item.text = fmt::format("{}: {} then, {} now: {}.", what, volts_text(old->value), volts_text(now->value),
                                item.verdict == ChangeVerdict::unchanged ? std::string("unchanged, as far as it repeats")
                                                                         : fmt::format("set it anew, {:.1f} dB {}", std::abs(*item.difference),
                                                                                       *item.difference < 0 ? "lower" : "higher"));
    }
    bench.out.items.push_back(std::move(item));
}

}  // namespace

void compare_gain(Workbench& bench) {
    if (!bench.before.has_gain || !bench.after.has_gain) return;
    bool any = false;
    for (const GroupPair& pair : bench.alike.pairs) {
        if (!pair.after.first().tone) continue;
        for (const RecordedCurve& now : bench.after.curves) {
            if (now.take != pair.after.first().file) continue;
            const RecordedCurve* old = curve_in(bench.before, pair.before, now.channel, now.tone_hz);
            if (!old) continue;
            any = true;
            CurveComparing(bench, pair, *old, now).run();
        }
        compare_balance(bench, pair);
    }
    if (bench.before_state == RecordState::first) return;  // one analysis: one setting
    for (const RecordedAmplifier& now : bench.after.amplifiers)
        for (const RecordedAmplifier& old : bench.before.amplifiers) {
            if (old.name != now.name) continue;
            const std::string name = clean_text(now.name.empty() ? "amplifier" : now.name);
            if (any)
                amplifier_item(bench, fmt::format("Input that must bring {} to its full output", name), "V", old.sensitivity_v, now.sensitivity_v,
                               true);
            else if (old.sensitivity_v && now.sensitivity_v)
                bench.out.items.push_back(
                    refused_item("amplifier", fmt::format("Setting of {}", name), "", "it follows from a ceiling that wasn't measured alike"));
            amplifier_item(bench, fmt::format("Gain found at {}", name), "dB", old.gain_now_db, now.gain_now_db, false);
        }
}

}  // namespace hushtrace::comparison
