#include "hushtrace/report/comparison.hpp"

#include <fmt/format.h>

#include "comparison_parts.hpp"
#include "hushtrace/report/wording.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

using comparison::Alike;
using comparison::Workbench;

constexpr std::size_t kMostReasons = 4;  // in a refusal

void require_jobs(const RecordedSystem& before, const RecordedSystem& after) {
    for (const RecordedSystem* one : {&before, &after})
        if (!one->job)
            throw Error(
                ErrorKind::invalid_input,
                fmt::format("{}: it doesn't hold the conditions that it was measured in (made by version {}), so nothing in it is known to have been "
                            "measured alike; give that job's folder instead, or write its record anew with hushtrace report",
                            one->called, one->version.empty() ? "unknown" : clean_text(one->version)));
}

template <class Value>
void require_same(const std::optional<Value>& then, const std::optional<Value>& now, const char* what) {
    if (then && now && std::abs(static_cast<double>(*then) - static_cast<double>(*now)) > 1e-9)
        throw Error(ErrorKind::invalid_input,
                    fmt::format("these are two vehicles: {} is {:g} in the earlier record and {:g} in this one; where one of them "
                                "is wrong, correct that job and write its record anew",
                                what, static_cast<double>(*then), static_cast<double>(*now)));
}

void require_one_vehicle(const Job& then, const Job& now) {
    require_same(then.vehicle.cylinders, now.vehicle.cylinders, "vehicle.cylinders");
    require_same(then.vehicle.strokes, now.vehicle.strokes, "vehicle.strokes");
    require_same(then.vehicle.supply_v, now.vehicle.supply_v, "vehicle.supply_v");
    // "combustion" is also what stands there where nobody said
    const Drive a = then.vehicle.drive, b = now.vehicle.drive;
    if (a != b && a != Drive::combustion && b != Drive::combustion)
        throw Error(ErrorKind::invalid_input,
                    fmt::format("these are two vehicles: vehicle.drive is {} in the earlier record and {} in this one", to_word(a), to_word(b)));
}

std::string number_words(const std::optional<double>& value) { return value ? fmt::format("{:g}", *value) : "not stated"; }

void note_words(Workbench& bench, const char* what, const std::string& then, const std::string& now) {
    if (then.empty() || now.empty() || then == now) return;
    bench.note(fmt::format("{} differs: '{}' then, '{}' now. The comparison goes on as if it were one.", what, clean_text(then), clean_text(now)));
}

void note_differences(Workbench& bench) {
    const Job &then = *bench.before.job, &now = *bench.after.job;
    if (bench.before.version != bench.after.version)
        bench.note(
            fmt::format("The earlier record was made by version {}, this one by {}: the method may differ. Given the earlier job's folder instead of "
                        "its data, both come by this version's method.",
                        bench.before.version.empty() ? "unknown" : clean_text(bench.before.version), clean_text(bench.after.version)));
    note_words(bench, "The vehicle's description", then.vehicle.description, now.vehicle.description);
    note_words(bench, "The source's description", then.source.description, now.source.description);
    if (then.vehicle.drive != now.vehicle.drive)
        note_words(bench, "The vehicle's drive", std::string(to_word(then.vehicle.drive)), std::string(to_word(now.vehicle.drive)));
    const AlternatorData &old = then.vehicle.alternator, &fresh = now.vehicle.alternator;
    const auto differ = [](const std::optional<double>& a, const std::optional<double>& b) { return a && b && std::abs(*a - *b) > 1e-9; };
    if (differ(old.pole_pairs, fresh.pole_pairs) || differ(old.pulley_ratio, fresh.pulley_ratio) || differ(old.rated_a, fresh.rated_a))
        bench.note(
            "The alternator's data differ: another one, or a correction. Its whine is matched by engine order, and so may not be found again.");
    if (differ(then.source.volume_top, now.source.volume_top))
        bench.note(fmt::format("The source's volume scale went up to {} then and goes up to {} now: is it another source?",
                               number_words(then.source.volume_top), number_words(now.source.volume_top)));
    const auto lacks = [&](bool a, bool b, const char* what) {
        if (a != b) bench.note(fmt::format("{} holds no results of {}, so none are compared.", a ? "This record" : "The earlier record", what));
    };
    lacks(bench.before.has_noise, bench.after.has_noise, "noise");
    lacks(bench.before.has_gain, bench.after.has_gain, "gain (stepped takes)");
    lacks(bench.before.has_chain, bench.after.has_chain, "the path (sweeps, noise, pulses)");
    lacks(bench.before.has_power, bench.after.has_power, "the supply");
}

[[noreturn]] void nothing_alike(const RecordedSystem& before, const Alike& alike) {
    std::string reasons;
    for (std::size_t i = 0; i < std::min(kMostReasons, alike.left_out.size()); ++i) reasons += (i > 0 ? " " : "") + alike.left_out[i].text;
    if (alike.left_out.size() > kMostReasons) reasons += fmt::format(" And {} more.", alike.left_out.size() - kMostReasons);
    throw Error(ErrorKind::invalid_input, fmt::format("{}: nothing in it was measured as it is now, so there is nothing to compare. {}",
                                                      before.called, reasons.empty() ? "One of the two holds no takes." : reasons));
}

void tell_pairs(Workbench& bench) {
    for (const comparison::GroupPair& pair : bench.alike.pairs) {
        TakePairing told;
        for (const Take* one : pair.before.takes) told.before.push_back(one->file);
        for (const Take* one : pair.after.takes) told.after.push_back(one->file);
        told.conditions = pair.conditions;
        told.remarks = pair.remarks;
        if (pair.speed_ratio && std::abs(*pair.speed_ratio - 1) > 0.005)
            told.remarks.push_back(fmt::format("The engine turned {:.1f} % {}; what follows it is matched by its order.",
                                               100 * std::abs(*pair.speed_ratio - 1), *pair.speed_ratio > 1 ? "faster now" : "slower now"));
        bench.out.pairs.push_back(std::move(told));
    }
}

}  // namespace

std::string_view to_word(ChangeVerdict verdict) {
    switch (verdict) {
        case ChangeVerdict::better:
            return "better";
        case ChangeVerdict::worse:
            return "worse";
        case ChangeVerdict::changed:
            return "changed";
        case ChangeVerdict::unchanged:
            return "unchanged";
        case ChangeVerdict::appeared:
            return "new";
        case ChangeVerdict::gone:
            return "gone";
        case ChangeVerdict::not_comparable:
            break;
    }
    return "not_comparable";
}

Comparison compare_records(const RecordedSystem& before, const RecordedSystem& after, RecordState before_state, const RepeatabilityRules& rules) {
    require_jobs(before, after);
    require_one_vehicle(*before.job, *after.job);
    if (before_state == RecordState::first && comparison::last_state(*after.job) == 0)
        throw Error(
            ErrorKind::invalid_input,
            fmt::format("{}: it holds one state alone: no take says what was changed before it (after_change), so there is no before and after; make "
                        "takes with --note-change, or give another job's folder or record",
                        after.called));
    const Alike alike = comparison::find_alike(before, after, before_state);
    Comparison out;
    out.before_called = before.called;
    out.after_called = after.called;
    out.before_version = before.version;
    out.after_version = after.version;
    out.title = after.job->title;
    out.before_date = before.job->date;
    out.after_date = after.job->date;
    Workbench bench{before, after, alike, rules, before_state, out};
    note_differences(bench);
    tell_pairs(bench);
    out.left_out = alike.left_out;
    comparison::compare_noise(bench);
    comparison::compare_floors(bench);
    comparison::compare_gain(bench);
    comparison::compare_paths(bench);
    comparison::compare_system(bench);
    const bool any = std::any_of(out.items.begin(), out.items.end(), [](const ComparedItem& one) {
        return one.verdict != ChangeVerdict::not_comparable && one.area != "health" && one.area != "power";
    });
    if (!any && alike.pairs.empty()) nothing_alike(before, alike);
    out.in_short = comparison::in_short(out);
    return out;
}

}  // namespace hushtrace
