#include "change_verdicts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "entry_words.hpp"
#include "hushtrace/vehicle/remedies.hpp"

namespace hushtrace {
namespace {

constexpr double kFloor_db = -29.0;
constexpr double kNothing_db = 3.0;  // less than this nobody hears as quieter (common practice, no source)

std::string in_words(const ChangeMade& one) {
    const double down = -one.measured_db.value;
    std::string text =
        one.at_most            ? (down > 0.0 ? fmt::format("It isn't found any more: {:.0f} dB down at least.", down) : "It isn't found any more.")
        : std::abs(down) < 2.0 ? fmt::format("It stayed as it was ({:+.1f} ± {:.0f} dB).", one.measured_db.value, 2.0 * one.measured_db.sd)
                               : fmt::format("It {} by {:.0f} ± {:.0f} dB.", down > 0.0 ? "fell" : "rose", std::abs(down), 2.0 * one.measured_db.sd);
    if (!one.promised_db) return text + " Nothing was promised of it.";
    const std::string promise = fmt::format("{:.0f} dB (±{:.0f})", one.promised_db->value, one.promised_db->sd);
    if (one.verdict == "failed")
        return fmt::format("{} The promise failed: {} were promised. It gets in otherwise than it seemed, or the work wants looking at.", text,
                           promise);
    if (one.verdict == "better") return fmt::format("{} That is better than the {} promised.", text, promise);
    return fmt::format("{} Promised were {}: kept.", text, promise);
}

}  // namespace

std::string_view verdict_of(const Reading& measured_db, bool at_most, const std::optional<Reading>& promised_db) {
    if (!promised_db) return "not_promised";
    const double short_of = measured_db.value - promised_db->value, sd = std::hypot(measured_db.sd, promised_db->sd);
    if (at_most) return "kept";  // it is gone, as far as can be told
    const bool nothing_came = measured_db.value > -kNothing_db && promised_db->value < -kNothing_db;
    if (short_of > 2.0 * sd || (nothing_came && short_of > sd)) return "failed";
    const bool to_the_floor = promised_db->value < kFloor_db;  // deeper was not told from it
    return short_of < -2.0 * sd && !to_the_floor ? "better" : "kept";
}

void judge_changes(NoiseAnalysis& analysis, const std::vector<VehicleState>& states, const std::list<TakeSurvey>& surveys) {
    for (const NoiseSource& source : analysis.noise_sources) {
        if (!has_an_entry(source.kind) || source.kind == NoiseKind::heard_only) continue;
        for (std::size_t at = 1; at < states.size(); ++at) {
            const auto around = levels_around(source, states, at, surveys);
            if (!around || !states[at].change) continue;
            ChangeMade one;
            one.change = *states[at].change;
            one.source_id = source.id;
            one.before = around->before;
            one.after = around->after;
            one.channel = loudest_channel(source);
            one.measured_db = {around->change_db, around->sd_db};
            one.at_most = around->at_most;
            const auto done = remedy_named(one.change);
            if (done) {
                const Standing standing = standing_in(at - 1, source, states, analysis, surveys);
                const ActsOn on{source, standing, states[at - 1].job, analysis};
                for (const Promise& promise : promises_of(on))
                    if (promise.done_as == done->remedy.words) one.promised_db = forecast(promise.done_as, on, done->separation_m);
            }
            one.verdict = verdict_of(one.measured_db, one.at_most, one.promised_db);
            one.text = in_words(one);
            if (!done) one.text += fmt::format(" (\"{}\" names none of the actions' words, so no promise can be held against it.)", one.change);
            analysis.changes.push_back(std::move(one));
        }
    }
}

}  // namespace hushtrace
