#include "comparison_match.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace hushtrace::comparison {
namespace {

// How far one and the same noise may lie from where it was: what drifts, drifts (own choices, no source).
struct Reach {
    std::string_view kind;
    double share;
};
constexpr Reach kReach[] = {{"mains_hum", 0.005}, {"switched_load", 0.03},  {"motor_whine", 0.15},   {"phone_burst", 0.01},
                            {"bus_tone", 0.01},   {"converter_hash", 0.05}, {"periodic_tick", 0.05}, {"unexplained_tone", 0.01}};
constexpr double kOrderReach = 0.02;  // of the order: a belt slips by less
constexpr double kNamedNow = 0.005;   // a tone that has a name in one record alone

double square(double x) { return x * x; }

/// How far apart two sources are, in parts of what one may move; nothing where they can't be one.
std::optional<double> apart(const RecordedSource& a, const RecordedSource& b) {
    const bool same = a.kind == b.kind;
    if (same && follows_engine(a)) {
        if (!a.engine_order || !b.engine_order || *a.engine_order <= 0) return 0.9;
        const double reach =
            std::sqrt(square(3 * a.engine_order_sd.value_or(0)) + square(3 * b.engine_order_sd.value_or(0)) + square(kOrderReach * *a.engine_order));
        const double distance = std::abs(*a.engine_order - *b.engine_order) / reach;
        return distance <= 1 ? std::optional(distance) : std::nullopt;
    }
    double share = kNamedNow;
    if (same) {
        const auto at = std::find_if(std::begin(kReach), std::end(kReach), [&](const Reach& one) { return one.kind == a.kind; });
        if (at == std::end(kReach)) return 0.5;  // hiss, crackle, clipping: there is one of it
        share = at->share;
    } else if ((a.kind != "unexplained_tone" && b.kind != "unexplained_tone") || follows_engine(a) || follows_engine(b)) {
        return std::nullopt;
    }
    if (!a.frequency_hz || !b.frequency_hz) return same ? std::optional(0.9) : std::nullopt;
    const double reach =
        std::sqrt(square(3 * a.frequency_sd_hz.value_or(0)) + square(3 * b.frequency_sd_hz.value_or(0)) + square(share * *a.frequency_hz));
    const double distance = std::abs(*a.frequency_hz - *b.frequency_hz) / reach;
    if (distance > 1) return std::nullopt;
    return same ? distance : 1 + distance;
}

}  // namespace

bool follows_engine(const RecordedSource& source) { return source.kind == "alternator_whine" || source.kind == "ignition_tick"; }

std::vector<SourceMatch> match_sources(const std::vector<RecordedSource>& before, const std::vector<RecordedSource>& after) {
    struct Candidate {
        std::size_t a, b;
        double apart;
    };
    std::vector<Candidate> candidates;
    for (std::size_t a = 0; a < before.size(); ++a)
        for (std::size_t b = 0; b < after.size(); ++b) {
            if (!before[a].sure && !after[b].sure) continue;
            if (const auto distance = apart(before[a], after[b])) {
                const double unsure = before[a].sure && after[b].sure ? 0.0 : 2.0;  // a faint trace comes after what is sure
                candidates.push_back({a, b, *distance + unsure});
            }
        }
    std::stable_sort(candidates.begin(), candidates.end(), [](const Candidate& x, const Candidate& y) { return x.apart < y.apart; });
    std::vector<const RecordedSource*> partner_of_a(before.size()), partner_of_b(after.size());
    for (const Candidate& one : candidates) {
        if (partner_of_a[one.a] || partner_of_b[one.b]) continue;
        partner_of_a[one.a] = &after[one.b];
        partner_of_b[one.b] = &before[one.a];
    }
    std::vector<SourceMatch> out;
    for (std::size_t b = 0; b < after.size(); ++b)
        if (after[b].sure || partner_of_b[b]) out.push_back({partner_of_b[b], &after[b]});
    for (std::size_t a = 0; a < before.size(); ++a)
        if (before[a].sure && !partner_of_a[a]) out.push_back({&before[a], nullptr});
    return out;
}

}  // namespace hushtrace::comparison
