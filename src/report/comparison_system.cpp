#include <fmt/format.h>

#include "comparison_parts.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace::comparison {
namespace {

struct MeterWord {
    std::string_view what, name;
    Better better;
};
constexpr MeterWord kMeter[] = {{"charging_voltage", "Charging voltage", Better::neither},
                                {"ripple", "Ripple of the supply, by meter", Better::lower},
                                {"supply_drop", "Drop of the supply under load", Better::lower},
                                {"ground_drop", "Drop along the amplifier's ground", Better::lower},
                                {"shell_to_case", "Source's jack shell to its case", Better::neither},
                                {"shell_to_amplifier_ground", "Shell against amplifier ground", Better::lower}};

std::optional<double> ratio_of(const Conditions& a, const Conditions& b) {
    return a.rpm && b.rpm && *a.rpm > 0 && *b.rpm > 0 ? std::optional(*b.rpm / *a.rpm) : std::nullopt;
}

/// A meter reads by hand: what wasn't noted is no reason to refuse, the engine and what was on are.
std::vector<Difference> meter_differences(const Observation& a, const Observation& b) {
    std::vector<Difference> all = differences(a.conditions, b.conditions, ratio_of(a.conditions, b.conditions), nullptr), out;
    for (const Difference& one : all) {
        const bool speed = one.field == "engine speed" && !ratio_of(a.conditions, b.conditions);
        if (speed || one.field == "source" || one.field == "input" || one.field == "volume" || one.field == "laptop on" || one.field == "attached")
            continue;
        out.push_back(one);
    }
    return out;
}

class Observations {
public:
    explicit Observations(Workbench& bench) : bench_(bench) {}

    void run() {
        const Job &old_job = *bench_.before.job, &new_job = *bench_.after.job;
        const bool one_record = bench_.before_state == RecordState::first;
        std::vector<const Observation*> done;
        for (std::size_t i = new_job.observations.size(); i-- > 0;) {  // the last of its kind speaks
            const Observation& now = new_job.observations[i];
            if (now.declined || (one_record && !now.after_change)) continue;
            const auto same = [&](const Observation* one) { return one->what == now.what && meter_differences(*one, now).empty(); };
            if (std::any_of(done.begin(), done.end(), same)) continue;
            done.push_back(&now);
            const Observation* old = nullptr;
            const Observation* other = nullptr;
            std::vector<Difference> differ;
            for (const Observation& one : old_job.observations) {
                if (one.what != now.what || one.declined || (one_record && one.after_change)) continue;
                const auto found = meter_differences(one, now);
                if (found.empty()) old = &one;
                if (!other || found.size() < differ.size()) other = &one, differ = found;
            }
            if (old)
                compare(*old, now);
            else if (other)
                refuse(now, differ);
        }
    }

private:
    static std::string name_of(std::string_view what) {
        for (const MeterWord& one : kMeter)
            if (one.what == what) return std::string(one.name);
        std::string name = spaced(clean_text(what));
        if (!name.empty() && name[0] >= 'a' && name[0] <= 'z') name[0] = static_cast<char>(name[0] - 'a' + 'A');
        return name;
    }

    void refuse(const Observation& now, const std::vector<Difference>& differ) {
        std::string list;
        for (const Difference& one : differ)
            list += (list.empty() ? "" : "; ") +
                    (one.before.empty() ? one.field + ": " + one.after : fmt::format("{}: {} then, {} now", one.field, one.before, one.after));
        bench_.out.items.push_back(refused_item("supply", name_of(now.what), conditions_text(now.conditions),
                                                fmt::format("it wasn't read alike: {}; read it again as it was then", list)));
    }

    void compare(const Observation& old, const Observation& now) {
        ComparedItem item;
        item.area = "supply";
        item.what = name_of(now.what);
        item.where = conditions_text(now.conditions);
        if (now.heard && old.heard) {
            item.verdict = *old.heard == *now.heard ? ChangeVerdict::unchanged : ChangeVerdict::changed;
            item.text =
                fmt::format("{} ({}): '{}' then, '{}' now.", item.what, item.where, spaced(clean_text(*old.heard)), spaced(clean_text(*now.heard)));
            bench_.out.items.push_back(std::move(item));
            return;
        }
        if (!old.value || !now.value) return;
        const auto at = std::find_if(std::begin(kMeter), std::end(kMeter), [&](const MeterWord& one) { return one.what == now.what; });
        if (at == std::end(kMeter)) return;
        item.unit = item.difference_unit = now.unit;
        Trial trial;
        trial.before.value = *old.value;
        trial.after.value = *now.value;
        trial.better = at->better;
        trial.repeatability =
            now.what == "charging_voltage"
                ? bench_.rules.charging_v
                : std::max(bench_.rules.meter_least, bench_.rules.meter_share * std::max(std::abs(*old.value), std::abs(*now.value)));
        settle(item, trial, judge(trial));
        bench_.out.items.push_back(std::move(item));
    }

    Workbench& bench_;
};

void compare_ripple(Workbench& bench) {
    for (const GroupPair& pair : bench.alike.pairs)
        for (const RecordedRipple& now : bench.after.ripple)
            for (const RecordedRipple& old : bench.before.ripple) {
                if (now.take != pair.after.first().file || old.take != pair.before.first().file) continue;
                if (!(now.volts.value > 0) || !(old.volts.value > 0)) continue;
                ComparedItem item = item_of("supply", "Ripple of the supply", pair, Channel::supply);
                item.unit = "V";
                const auto level = [](const Reading& one) { return ComparedFigure{20 * std::log10(one.value), 8.685889638 * one.sd / one.value}; };
                Trial trial;
                trial.before = level(old.volts);
                trial.after = level(now.volts);
                trial.repeatability = pair.hunts ? bench.rules.idle_db : bench.rules.steady_db;
                const Judged judged = judge(trial);
                Trial told = trial;
                told.before = {old.volts.value, old.volts.sd};
                told.after = {now.volts.value, now.volts.sd};
                settle(item, told, judged);
                bench.out.items.push_back(std::move(item));
            }
}

/// What has to have been measured on both sides before a fault's absence tells anything.
bool could_show(const Workbench& bench, std::string_view fault) {
    const bool alternator = fault.find("diode") != std::string_view::npos || fault.find("phase") != std::string_view::npos;
    return std::any_of(bench.alike.pairs.begin(), bench.alike.pairs.end(),
                       [&](const GroupPair& pair) { return !alternator || engine_turns(pair.after.first().conditions.engine); });
}

void compare_health(Workbench& bench) {
    const auto add = [&](const std::string& fault, const std::string& why, bool then, bool now) {
        ComparedItem item;
        item.area = "health";
        item.what = fault_text(fault);
        std::string name = item.what;
        if (!name.empty() && name[0] >= 'a' && name[0] <= 'z') name[0] = static_cast<char>(name[0] - 'a' + 'A');
        item.what = name;
        if (then && now) {
            item.verdict = ChangeVerdict::unchanged;
            item.text = fmt::format("{}: found then, and found still.", name);
        } else if (!could_show(bench, fault)) {
            item.text = fmt::format("{}: found {} alone, where no like take could show it on the other side.", name, then ? "then" : "now");
        } else {
            item.verdict = then ? ChangeVerdict::gone : ChangeVerdict::appeared;
            item.text = then ? fmt::format("{}: found then, not any more.", name) : fmt::format("{}: new. {}", name, clean_text(why));
        }
        bench.out.items.push_back(std::move(item));
    };
    for (const auto& one : bench.after.health) add(one.first, one.second, bench.before.health.count(one.first) > 0, true);
    for (const auto& one : bench.before.health)
        if (bench.after.health.count(one.first) == 0) add(one.first, one.second, true, false);
}

struct PowerWord {
    const char *key, *name, *unit;
    Better better;
};
constexpr PowerWord kPower[] = {{"total_a", "Total current of the amplifiers", "A", Better::neither},
                                {"fuse_a", "Main fuse", "A", Better::neither},
                                {"drop_v", "Drop along the feed, reckoned", "V", Better::lower},
                                {"reserve_a", "Alternator's reserve", "A", Better::higher},
                                {"idle_reserve_a", "Alternator's reserve at idle", "A", Better::higher}};

void compare_power(Workbench& bench) {
    for (const PowerWord& one : kPower) {
        const auto old = bench.before.power.find(one.key), now = bench.after.power.find(one.key);
        if (old == bench.before.power.end() || now == bench.after.power.end()) continue;
        ComparedItem item;
        item.area = "power";
        item.what = one.name;
        item.unit = item.difference_unit = one.unit;
        Trial trial;
        trial.before.value = old->second;
        trial.after.value = now->second;
        trial.better = one.better;
        trial.repeatability = 1e-3 * std::max(std::abs(old->second), std::abs(now->second));  // reckoned from the job: no scatter, only rounding
        const Judged judged = judge(trial);
        settle(item, trial, judged);
        item.repeatability = "";
        item.text = fmt::format("{}: {} then, {} now{}", one.name, signed_text(old->second, one.unit), signed_text(now->second, one.unit),
                                judged.verdict == ChangeVerdict::unchanged ? ": unchanged." : ".");
        bench.out.items.push_back(std::move(item));
    }
}

}  // namespace

void compare_system(Workbench& bench) {
    Observations(bench).run();
    compare_ripple(bench);
    if (bench.before_state == RecordState::first) return;  // one analysis of one job: nothing to hold against each other
    if (bench.before.has_noise && bench.after.has_noise) compare_health(bench);
    if (bench.before.has_power && bench.after.has_power) compare_power(bench);
}

}  // namespace hushtrace::comparison
