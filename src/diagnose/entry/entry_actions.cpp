#include "entry_actions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>

#include "entry_words.hpp"
#include "ground_estimate.hpp"
#include "over_ways.hpp"

namespace hushtrace {
namespace {

constexpr double kActsFrom = 0.6;          // what is more probable than this is worth an action
constexpr double kSetUpFrom = 0.15;        // a set-up that may make the noise is put right first
constexpr double kFaultFrom = 0.5;         // of an alternator's health
constexpr double kDeepestRead_db = -30.5;  // outcomes are cut off a little below: what fell so far fell by that much at least
constexpr std::array<double, 3> kSeparations_m = {0.1, 0.2, 0.5};
constexpr double kWorthMoving = 1.4;  // times as far away, or it brings nothing to speak of
constexpr Reading kNotTouched{0.0, 0.5};

double strongest_hz(const NoiseSource& source) {
    double best_db = -1e9, frequency_hz = source.frequency_hz.value_or(500.0);
    for (const Harmonic& one : source.harmonics)
        if (std::isfinite(one.level_dbfs) && one.level_dbfs > best_db && one.frequency_hz > 0.0) {
            best_db = one.level_dbfs;
            frequency_hz = one.frequency_hz;
        }
    return frequency_hz;
}

const Observation* ground_drop(const Job& job) {
    for (const Observation& one : job.observations)
        if (!one.declined && one.what == "ground_drop" && one.value && *one.value > 0.0) return &one;
    return nullptr;
}

GroundEstimate ground_of(const ActsOn& on) {
    GroundSeen what;
    what.strap = seen(on.standing.evidence, EntryTest::temporary_ground);
    if (const Observation* drop = ground_drop(on.job)) {
        what.drop_v = drop->value;
        what.drop_at_rest = !engine_turns(drop->conditions.engine) && drop->conditions.loads.empty();
    }
    for (const SupplyTransfer& one : on.analysis.supply_transfers)
        if (one.source_id == on.source.id && one.against == Channel::supply_current && one.shared_mohm && !one.spoilt)
            what.shared_mohm = one.shared_mohm;
    return estimate_ground(what, on.job, strongest_hz(on.source));
}

/// Noise that the amplifier's own supply current carries: what engine and alternator put on the supply.
bool is_supply_borne(const ActsOn& on) {
    return on.standing.evidence.question.follows_engine;
}

std::optional<Reading> ground_change(const ActsOn& on) {
    // of other noise nobody knows which current drives the loop: the strap alone tells, and a good joint brings about what it brought
    if (is_supply_borne(on))
        return middle_change(on.standing.posterior,
                             [change = ground_of(on).remade_db](EntryWay way) { return way == EntryWay::ground_loop ? change : kNotTouched; });
    const auto strap = seen(on.standing.evidence, EntryTest::temporary_ground);
    if (!strap || strap->at_most) return std::nullopt;
    return Reading{strap->change_db, std::hypot(strap->sd_db, 4.0)};
}

std::optional<Reading> route_change(const ActsOn& on, double separation_m) {
    const auto across_seats = seen(on.standing.evidence, EntryTest::temporary_lead);
    bool known = true;
    const Reading change = middle_change(on.standing.posterior, [&](EntryWay way) {
        if (!is_pickup(way)) return kNotTouched;
        const auto one = reroute_change(way, on.job.cables, across_seats, separation_m);
        known = known && one.has_value();
        return one.value_or(kNotTouched);
    });
    return known ? std::optional(change) : std::nullopt;
}

double now_m(const ActsOn& on) {
    return on.job.cables.separation_m.value_or(0.0);
}

/// The separations that are worth laying a lead to.
std::vector<double> further_off(const ActsOn& on) {
    std::vector<double> out;
    for (const double one : kSeparations_m)
        if (one >= kWorthMoving * now_m(on)) out.push_back(one);
    return out;
}
/// The one that an action names; 0 where the lead lies as far off as is worth it.
double usual_separation_m(const ActsOn& on) {
    const std::vector<double> further = further_off(on);
    if (further.empty()) return 0.0;
    return further.size() > 1 && further.front() < 0.15 ? further[1] : further.front();
}

std::string db_words(const Reading& change) {
    constexpr double to_the_floor_db = -29.0;
    if (change.value < to_the_floor_db) return "30 dB down and more";
    return fmt::format("{:.0f} dB (give or take {:.0f})", change.value, 2.0 * change.sd);
}

std::string route_words(const ActsOn& on, EntryWay way) {
    std::string out;
    const CableData& cables = on.job.cables;
    const auto across_seats = seen(on.standing.evidence, EntryTest::temporary_lead);
    const auto further = further_off(on);
    if (!cables.separation_m)
        out += across_seats ? "How far it lies from the supply cable now isn't in the job (cables.separation_m): the forecast rests on the lead "
                              "across the seats alone."
                            : "How far it lies from the supply cable now isn't in the job (cables.separation_m): what another route brings can't be "
                              "told; measure it, or lay a "
                              "lead across the seats.";
    std::string steps;
    for (const double metres : further)
        if (const auto change = reroute_change(way, cables, across_seats, metres))
            steps += fmt::format("{}{:.0f} cm away {}", steps.empty() ? "" : ", ", 100.0 * metres, db_words(*change));
    if (!steps.empty()) out += fmt::format("{}Of what comes by this way: {}.", out.empty() ? "" : " ", steps);
    if (cables.separation_m && further.empty()) out += fmt::format("It lies {:.2g} m away already: more brings little.", *cables.separation_m);
    if (!steps.empty() && !cables.above_metal_m)
        out += " Its height above the metal isn't in the job (cables.above_metal_m): the forecast is that much wider.";
    if (const auto expected = across_seats ? across_seats_change(way, cables) : std::nullopt; expected && !across_seats->at_most) {
        const double apart = across_seats->change_db - expected->value, sd = std::hypot(expected->sd, across_seats->sd_db);
        if (apart > 2.0 * sd)
            out += fmt::format(
                " The lead across the seats brought {:.0f} dB where its place lets {:.0f} dB expect: a part comes by another way, or the stated "
                "separation is wrong.",
                across_seats->change_db, expected->value);
    }
    return out;
}

std::string ground_words(const ActsOn& on) {
    if (!is_supply_borne(on)) return "";
    const GroundEstimate ground = ground_of(on);
    std::string out =
        fmt::format("{} about {:.0f} milliohm ({:.0f} to {:.0f}); well made it is {:.0f} to 2, and drops less than 0.1 V under load.",
                    ground.measured ? "What was measured makes this ground" : "Nothing measured says how bad this ground is; such a one usually has",
                    ground.middle_mohm, ground.low_mohm, ground.high_mohm, kGoodGround_mohm);
    if (ground.measured && ground.high_mohm < 3.0 * kGoodGround_mohm)
        out += " That is near what can be had: look at the source's own ground as well.";
    if (!ground.measured) out += " A meter (--observe ground_drop) or a strap (--hookup temporary_ground) narrows it.";
    return out;
}

void capitalise(std::string& text) {
    if (!text.empty()) text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
}

Promise promise_of(EntryWay way, double probability, const ActsOn& on) {
    const Remedy remedy = remedy_of(way);
    Promise out{remedy.done_as, {std::string(remedy.what), "", on.source.id, std::nullopt, std::nullopt}};
    out.action.why = fmt::format("{} gets in by {} ({:.0f} %).", plain_name(on.source.kind), plain_name(way), 100.0 * probability);
    capitalise(out.action.why);
    const std::string more = way == EntryWay::ground_loop                                   ? ground_words(on)
                             : way == EntryWay::pickup_loop || way == EntryWay::pickup_lead ? route_words(on, way)
                                                                                            : "";
    for (const std::string& sentence : {more, std::string(remedy.why)})
        if (!sentence.empty()) out.action.why += " " + sentence;
    if (const auto change = forecast(remedy.done_as, on, std::nullopt)) {
        out.action.expected_change_db = change->value;
        out.action.sd_db = change->sd;
    }
    if (!remedy.done_as.empty()) out.action.why += fmt::format(" Once it is done, capture again with --note-change \"{}\".", remedy.done_as);
    return out;
}

}  // namespace

std::optional<ChangeSeen> seen(const EntryEvidence& evidence, EntryTest test) {
    for (const EntryOutcome& one : evidence.outcomes)
        if (one.test == test && one.also.empty() && !one.heard && !one.done)
            return ChangeSeen{one.change, one.sd, one.at_most || one.change <= kDeepestRead_db};
    return std::nullopt;
}

std::optional<Reading> forecast(std::string_view done_as, const ActsOn& on, std::optional<double> separation_m) {
    if (done_as == "ground remade") return ground_change(on);
    if (done_as == "lead rerouted") {
        const double metres = separation_m.value_or(usual_separation_m(on));
        return metres > 0.0 ? route_change(on, metres) : std::nullopt;
    }
    // of the others the temporary thing shows what the lasting one brings
    for (std::size_t w = 0; w < kEntryWays; ++w) {
        const Remedy remedy = remedy_of(static_cast<EntryWay>(w));
        if (remedy.done_as.empty() || remedy.done_as != done_as || !remedy.shown_by) continue;
        if (const auto change = seen(on.standing.evidence, *remedy.shown_by)) return Reading{change->change_db, change->sd_db};
    }
    return std::nullopt;
}

std::vector<Promise> promises_of(const ActsOn& on) {
    std::vector<Promise> out;
    const EntryPosterior& posterior = on.standing.posterior;
    const EntrySet& lead = posterior.sets.front();
    const double set_up = chance_of(posterior, EntryWay::measuring_setup);
    if (set_up > kSetUpFrom && !(lead.has(EntryWay::measuring_setup) && lead.probability >= kActsFrom))
        out.push_back(promise_of(EntryWay::measuring_setup, set_up, on));
    // both mechanisms of a pick-up ask for the same: what they have together counts
    double route = 0;
    for (const EntrySet& set : posterior.sets)
        if (set.has(EntryWay::pickup_loop) || set.has(EntryWay::pickup_lead)) route += set.probability;
    if (lead.probability >= kActsFrom) {
        for (const auto way : {std::optional(lead.first), lead.second})
            if (way) out.push_back(promise_of(*way, lead.probability, on));
    } else if (route >= kActsFrom) {
        const EntryWay way =
            chance_of(posterior, EntryWay::pickup_loop) > chance_of(posterior, EntryWay::pickup_lead) ? EntryWay::pickup_loop : EntryWay::pickup_lead;
        out.push_back(promise_of(way, chance_of(posterior, way), on));
    }
    return out;
}

std::optional<Action> alternator_first(const NoiseAnalysis& analysis) {
    for (const HealthFinding& one : analysis.health) {
        if ((one.fault != "diode_open" && one.fault != "phase_open") || one.confidence < kFaultFrom) continue;
        for (const NoiseSource& source : analysis.noise_sources)
            if (source.kind == NoiseKind::alternator_whine)
                return Action{
                    "Have the alternator repaired first, then capture again with --note-change \"alternator repaired\".",
                    fmt::format(
                        "{} ({:.0f} %): it makes far more ripple than it should, and whatever is done to the wiring is judged against that. {}",
                        one.fault == "diode_open" ? "A diode of it seems open" : "A phase of it seems open", 100.0 * one.confidence, one.why),
                    source.id, std::nullopt, std::nullopt};
    }
    return std::nullopt;
}

}  // namespace hushtrace
